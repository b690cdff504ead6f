from .people_list import PeopleList
from .work_log import WorkLogCheck

__all__ = ["PeopleList", "WorkLogCheck"]
