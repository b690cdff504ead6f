"""Decode one HEIC picture in a process of its own: bytes on standard input, PNG on standard output.

The decoder of HEIC is native code that a damaged file can bring down, and whoever it takes
with it must not be the site. Run as a script, without Django:

    python assessments/imaging/heif_decoder.py MAX_PIXELS < picture.heic > picture.png

It ends with 0 where all went well, with `TOO_MANY_PIXELS` and the size on standard error
where the picture would be too large, and with anything else where it cannot be decoded.
"""

import io
import sys

TOO_MANY_PIXELS = 3
MOST_MEMORY_BYTES = 3 * 1024**3
MOST_SECONDS = 60


def limit_itself() -> None:
    """Keep a picture that never ends from taking the machine along; where the system can."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def refuse_size(size: tuple[int, int], most: int) -> None:
    if size[0] * size[1] > most:
        sys.stderr.write(f"{size[0]} {size[1]}")
        raise SystemExit(TOO_MANY_PIXELS)


def main() -> None:
    limit_itself()
    from pi_heif import HeifImageFile, options

    options.THUMBNAILS = options.DEPTH_IMAGES = options.AUX_IMAGES = False
    most = int(sys.argv[1])
    picture = HeifImageFile(io.BytesIO(sys.stdin.buffer.read()))
    refuse_size(picture.size, most)
    picture.load()
    # What the container says of the size is only checked by decoding.
    refuse_size(picture.size, most)
    profile = picture.info.get("icc_profile")
    picture.info = {}
    picture.save(sys.stdout.buffer, "PNG", compress_level=1, icc_profile=profile)


if __name__ == "__main__":
    main()
