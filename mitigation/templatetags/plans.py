"""Prices and kinds of remedies of a plan in templates."""

from django import template

from mitigation.letters.money import money_words
from mitigation.letters.remedy_words import remedy_name

register = template.Library()

register.filter("money", money_words)
register.filter("remedy_name", remedy_name)
