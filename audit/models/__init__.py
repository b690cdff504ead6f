from .evidence_packs import EvidencePack
from .people_list import PeopleList
from .work_log import WorkLogCheck

__all__ = ["EvidencePack", "PeopleList", "WorkLogCheck"]
