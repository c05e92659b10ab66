"""Sentences of pages as the trade of a country words them."""

from django import template

from consult.letters.countries import in_trade_words

register = template.Library()
register.filter("trade_words", in_trade_words, is_safe=True)
