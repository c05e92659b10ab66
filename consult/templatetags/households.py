"""What a page says of a household to whom may not read its words."""

from django import template

from consult.models import MedicalDevice, Property

register = template.Library()


@register.inclusion_tag("consult/ask_first.html")
def ask_before_switching(home: Property) -> dict[str, bool]:
    """Says so where somebody depends on the supply: no words, for they are the office's alone."""
    return {"must_ask": MedicalDevice.objects.current().filter(property=home.pk).exists()}
