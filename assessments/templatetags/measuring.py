"""Template tags for what was measured, as `presenters.measurement_words` words it."""

from django import template

from assessments.presenters import measurement_words

register = template.Library()

register.simple_tag(measurement_words.marks_drawn)
register.simple_tag(measurement_words.measured_value)
register.simple_tag(measurement_words.measured_says)
register.simple_tag(measurement_words.measured_remarks)
register.simple_tag(measurement_words.measured_shares)
register.simple_tag(measurement_words.place_says)
register.simple_tag(measurement_words.left_out_says)
register.simple_tag(measurement_words.by_former_scale_says)
register.simple_tag(measurement_words.repeats_say)
