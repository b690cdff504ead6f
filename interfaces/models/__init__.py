from .api_tokens import ApiToken
from .web_hooks import HookEvent, WebHook, WebHookDelivery, WebHookTold

__all__ = ["ApiToken", "HookEvent", "WebHook", "WebHookDelivery", "WebHookTold"]
