"""Which containers and codecs are taken in, and the options that hold ffmpeg to them.

Naming the allowed protocols is not enough. A playlist opened its neighbour with
ffmpeg's defaults and with the protocol list; the list of formats is what stops it.
"""

from __future__ import annotations

from clinics.media.sandbox import Limits

FORMAT_WHITELIST = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,mpegts,mpeg,asf,avi"

CONTAINERS = {
    "mov,mp4,m4a,3gp,3g2,mj2": ("mp4", "mov"),
    "matroska,webm": ("matroska", "matroska"),
    "mpegts": ("mpegts", "mpegts"),
    "mpeg": ("mpegps", "mpeg"),
    "asf": ("asf", "asf"),
    "avi": ("avi", "avi"),
}
"""ffprobe's format_name: our name of the container, and the demuxer to force from then on."""

VIDEO_DECODERS = (
    "h264", "hevc", "mpeg4", "mpeg2video", "mpeg1video", "mjpeg", "msmpeg4v1", "msmpeg4v2",
    "msmpeg4", "wmv1", "wmv2", "wmv3", "vc1", "h263", "vp8", "vp9", "libdav1d", "av1", "prores",
    "dvvideo",
)  # fmt: skip
AUDIO_DECODERS = (
    "aac", "ac3", "eac3", "mp2", "mp2float", "mp3", "mp3float", "opus", "vorbis", "flac", "alac",
    "wmav1", "wmav2", "wmapro", "amrnb", "amrwb", "dca", "adpcm_ms", "adpcm_ima_wav",
    "adpcm_ima_qt",
    "pcm_s8", "pcm_u8", "pcm_s16le", "pcm_s16be", "pcm_s24le", "pcm_s24be", "pcm_s32le",
    "pcm_s32be", "pcm_f32le", "pcm_mulaw", "pcm_alaw", "pcm_bluray", "pcm_dvd",
)  # fmt: skip
NEVER_DECODED = (
    "pgssub", "dvbsub", "dvdsub", "mov_text", "subrip", "srt", "ass", "ssa", "text", "webvtt",
    "cc_dec", "libzvbi_teletextdec",
)  # fmt: skip
"""Captions: ffprobe opens a decoder for each stream and gives up the whole file if it may not.
Camcorders write the date as captions into every file. They are never mapped, so never decoded."""

VIDEO_CODECS = frozenset(VIDEO_DECODERS) - {"msmpeg4", "libdav1d"} | {"msmpeg4v3"}
"""ffprobe's codec names; a decoder may have another name than its codec."""
AUDIO_CODECS = frozenset(AUDIO_DECODERS) - {"mp2float", "mp3float", "amrnb", "amrwb", "dca"} | {
    "amr_nb",
    "amr_wb",
    "dts",
}


def guarded_open(
    limits: Limits,
    *,
    protocols: str = "file",
    formats: str = FORMAT_WHITELIST,
) -> dict[str, str]:
    """Options before every input, for ffmpeg and ffprobe alike, without their leading hyphen."""
    return {
        "protocol_whitelist": protocols,
        "format_whitelist": formats,
        "codec_whitelist": ",".join((*VIDEO_DECODERS, *AUDIO_DECODERS, *NEVER_DECODED)),
        "max_streams": str(limits.max_streams),
        "max_pixels": str(limits.max_pixels),
        "probesize": "15M",
        "analyzeduration": "15M",
    }


def as_argv(options: dict[str, str]) -> list[str]:
    """``{"a": "b"}`` as ``["-a", "b"]``."""
    return [word for name, value in options.items() for word in (f"-{name}", value)]
