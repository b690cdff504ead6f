"""Which criterion a grader rejects when a drawn joint shows a fault."""

# Codes in the order in which the first that is asked of the joint is taken.
CRITERIA_BY_FAULT: dict[str, tuple[str, ...]] = {
    "wrap_short": ("F-01", "F-02", "F-03", "F-04"),
    "wrap_long": ("F-01", "F-03"),
    "wire_not_on_base": ("F-05",),
    "clearance_none": ("S-06",),
    "clearance_wide": ("S-05", "S-19"),
    "insufficient": ("S-03", "S-22"),
    "excess": ("S-04", "S-12", "S-17", "P-07"),
    "nonwetted": ("S-01", "S-02"),
    "dewetted": ("S-21", "P-10"),
    "cold": ("S-08", "P-11"),
    "disturbed": ("S-09", "P-11"),
    "icicle": ("S-26", "P-07"),
    "bridge": ("S-27",),
    "strand_nicked": ("P-01",),
    "strand_out": ("F-14", "F-10", "P-02"),
    "birdcage": ("P-02",),
    "insulation_burnt": ("S-07", "P-03"),
    "insulation_cut": ("P-03",),
    "flux_residue": ("C-01",),
    "cup_underfilled": ("S-11",),
    "cup_overflow": ("S-12",),
    "cup_not_seated": ("F-11",),
    "hole_underfilled": ("S-14",),
    "hole_no_wetting": ("S-15",),
    "lead_too_long": ("F-12",),
    "tinning_gap_none": ("P-06",),
    "tinning_uneven": ("P-07",),
}

# What a grader writes beside a reject, now and then.
NOTES = {
    "wrap_short": "Leaves the post before it is half way round.",
    "clearance_wide": "Strip length was right, the wire slipped out before soldering.",
    "clearance_none": "Insulation ran into the fillet.",
    "excess": "Strands cannot be seen on the left.",
    "insufficient": "Fillet stops short of the far side.",
    "cold": "Dull all over; the tip was not on the post.",
    "disturbed": "Moved while it set.",
    "strand_nicked": "Two strands at the edge of the insulation.",
    "flux_residue": "Brown ring behind the post.",
    "cup_overflow": "Run down the outside of the cup.",
    "hole_underfilled": "Two quarters show no solder from above; light comes through.",
    "tinning_gap_none": "Stiff up to the insulation.",
}

# How often each fault turns up, where a kind of joint can show it.
WEIGHTS = {
    "clearance_wide": 5,
    "wrap_short": 3,
    "excess": 3,
    "insufficient": 3,
    "flux_residue": 3,
    "strand_nicked": 2,
    "clearance_none": 2,
    "cold": 2,
    "disturbed": 2,
}
