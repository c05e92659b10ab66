"""What a page says of a household to whom may not read its words."""

from django import template

from consult.models import MedicalDevice, Property

register = template.Library()


@register.simple_tag
def must_ask_before_switching(home: Property) -> bool:
    """Whether somebody there depends on the supply: no words, for they are the office's alone."""
    return MedicalDevice.objects.current().filter(property=home.pk).exists()
