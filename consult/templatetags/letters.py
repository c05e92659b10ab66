"""How the texts of a letter become HTML."""

from django import template

from consult.letters.unbroken import unbroken_html

register = template.Library()
register.filter("unbroken_html", unbroken_html)
