"""Template tags for criteria and judgements, as `presenters.judgement_words` words them."""

from django import template

from assessments.presenters import criterion_drawings, judgement_words

register = template.Library()

register.filter(criterion_drawings.accept_shown)
register.filter(criterion_drawings.reject_shown)
register.filter(criterion_drawings.rejects_shown)
register.filter(judgement_words.plain)
register.filter(judgement_words.with_unit)
register.filter(judgement_words.kind_shown)
register.filter(judgement_words.how_shown)
register.filter(judgement_words.value_shown)
register.filter(judgement_words.uncertainty_shown)
register.simple_tag(judgement_words.unit_word)
register.simple_tag(judgement_words.unit_sign)
register.simple_tag(judgement_words.criterion_limits)
register.simple_tag(judgement_words.criterion_verdict)
register.simple_tag(judgement_words.photo_window)
register.filter(judgement_words.joint_name)
register.filter(judgement_words.make_name)
register.simple_tag(judgement_words.verdict_name)
register.simple_tag(judgement_words.rule_name)
register.simple_tag(judgement_words.rule_asked)
