"""Prices of a plan in templates."""

from django import template

from mitigation.letters.money import money_words

register = template.Library()

register.filter("money", money_words)
