"""Exercises made once more with a lead-free alloy."""

from dataclasses import replace

from . import ExerciseContent, Step
from . import steps as shared

ALLOY = "Sn96.5Ag3Cu0.5"

APART = Step(
    "prepared",
    "Use iron tip, sponge, brush and bin that are kept for lead-free work and marked so: a little "
    "lead spoils the joint and the claim. Tin with the alloy of the exercise.",
)
LOOK = Step(
    "soldered",
    "Do not wait for a shine and do not heat again to get one: a good lead-free joint may be dull "
    "and finely lined. Judge it by its wetting and by the wire's outline.",
    drawing="lead-free-surface-accept",
    shows="accept",
)


def lead_free(exercise: ExerciseContent) -> ExerciseContent:
    """Give an exercise with a lead-free alloy, which its title, steps, tools and cautions say."""
    soldered = [number for number, step in enumerate(exercise.steps) if step.stage == "soldered"]
    heated = [
        shared.TIP_HEAT_LEAD_FREE if step == shared.TIP_HEAT else _without_lead(step)
        for step in exercise.steps
    ]
    steps = (APART, *heated[: soldered[-1] + 1], LOOK, *heated[soldered[-1] + 1 :])
    return replace(
        exercise,
        code=f"{exercise.code}-LF",
        title=f"{exercise.title}, lead-free",
        summary=f"{exercise.summary}, lead-free",
        purpose=f"{exercise.purpose} With a lead-free alloy, which melts hotter and looks duller.",
        steps=steps,
        tools=tuple(
            shared.SOLDER_LEAD_FREE if tool == shared.SOLDER else tool for tool in exercise.tools
        ),
        cautions=tuple(code for code in exercise.cautions if code != "lead"),
        alloy=ALLOY,
    )


def _without_lead(step: Step) -> Step:
    return replace(step, cautions=tuple(code for code in step.cautions if code != "lead"))
