from .api_tokens import ApiToken
from .web_hooks import HookEvent, ReportedStanding, WebHook, WebHookDelivery

__all__ = ["ApiToken", "HookEvent", "ReportedStanding", "WebHook", "WebHookDelivery"]
