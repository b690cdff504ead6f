"""Serve static files under names made from their content."""

from typing import Any

from whitenoise.compress import Compressor
from whitenoise.storage import CompressedManifestStaticFilesStorage

IMPORT = (
    r"""(?P<matched>import\s*(?P<import>[\w{*][^;]*?)\s*from\s*["'](?P<url>\.[^"']+)["']\s*;)""",
    """import %(import)s from "%(url)s";""",
)


class HashedStaticFiles(CompressedManifestStaticFilesStorage):
    """Rewrites what our own modules import, so that each asks for a file as it is now.

    Of Django's `support_js_module_import_aggregation` this is the part that our modules need; that
    reads every script, also those of packages that name files they do not bring.
    """

    patterns = (*CompressedManifestStaticFilesStorage.patterns, ("js/*.js", (IMPORT,)))

    def create_compressor(self, **kwargs: Any) -> Compressor:
        """By gzip alone, whatever else is installed: Brotli would take half a minute at a start."""
        return Compressor(**kwargs, use_brotli=False)
