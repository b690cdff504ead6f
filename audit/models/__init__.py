from .work_log import WorkLogCheck

__all__ = ["WorkLogCheck"]
