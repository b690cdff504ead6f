"""Documents the criteria name, groups of joint types, and how far each source can be trusted."""

ALL_TYPES = ("turret", "bifurcated", "hook", "pierced", "cup", "hole", "wire")
TERMINALS = ("turret", "bifurcated", "hook", "pierced")
TERMINALS_AND_CUP = (*TERMINALS, "cup")
STRANDED = (*TERMINALS_AND_CUP, "wire")
SOLDERED = (*TERMINALS_AND_CUP, "hole")

TIN_LEAD = ("Sn63Pb37", "Sn60Pb40", "Sn62Pb36Ag2")
LEAD_FREE = ("Sn96.5Ag3Cu0.5", "Sn96Ag4")
ALLOYS = (*TIN_LEAD, *LEAD_FREE)
"""Alloys a board may be soldered with."""

NASA_SOLDERING = "NASA-STD-8739.3 (1997, cancelled 2011)"
NASA_CABLES = "NASA-STD-8739.4, change 6"
NASA_PICTORIAL = "NASA workmanship pictorial reference (2000–2002)"
J_STD_001 = "IPC J-STD-001"
J_STD_001C = "IPC J-STD-001C"
IPC_A_610 = "IPC-A-610"
NEETS_4 = "US Navy NEETS, module 4"
STP_25R = "US Army STP 11-25R13, appendix A"

PRACTICE = "Common practice."
PICTORIAL = "Legacy NASA text, read in a public pictorial reference that cites it."
EXCERPT = "Read in an excerpt: check against the revision you bought."
SECOND_HAND = "Read at second hand: check against the revision you bought."
MEMORY = "From memory: check in the document."
CAPTIONS = "The fault is named in captions of legacy training slides, read at second hand."
PICTORIAL_AND_CAPTIONS = (
    f"{PICTORIAL} The faults are named in captions of legacy training slides, read at second hand."
)
