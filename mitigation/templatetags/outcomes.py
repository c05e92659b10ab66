"""The words of an outcome, as they stand in its letter too."""

from django import template

from consult.letters import words

register = template.Library()

register.filter("decision_words", words.decision_words)
register.filter("measurand_words", words.measurand_words)
register.filter("phrase", words.phrase)
