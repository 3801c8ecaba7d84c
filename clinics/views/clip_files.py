"""A clip's files. The fence is asked on every request, and so on every byte range.

Hidden and absent give the same answer on every verb: the fence comes before the verb.
"""

from __future__ import annotations

import uuid

from django.http import Http404, HttpRequest, HttpResponseBase, HttpResponseNotAllowed, JsonResponse

from clinics.actions.access import note_view
from clinics.compute.time import TICKS_PER_S
from clinics.media.errors import MediaError
from clinics.media.frames import load_frame_table, load_key_frames
from clinics.models import ClipFile
from clinics.views.who import me
from portal.views.serve_file import serve_file

SAFE = ["GET", "HEAD"]


def _seen(request: HttpRequest, pk: uuid.UUID) -> ClipFile:
    """The file, if the user may see its clip or checks it."""
    files = ClipFile.objects.select_related("clip", "stored", "pts_table").filter(pk=pk)
    found = files.visible_to(me(request)).first() or files.handled_by(me(request)).first()
    if found is None:
        raise Http404
    return found


def clip_file(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    found = _seen(request, pk)
    if request.method in SAFE:
        note_view(clip_file=found, by=me(request), asked=request.headers.get("Range", ""))
    return serve_file(request, found.stored)


def clip_file_frames(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    """When each frame of a rendition is shown, in ticks from its first frame.

    Its frame n is frame `first_frame` + n of the clip's recording.
    """
    found = _seen(request, pk)
    if request.method not in SAFE:
        return HttpResponseNotAllowed(SAFE)
    if found.pts_table is None:
        raise Http404
    try:
        path = found.pts_table.local_path()
        pts, keys = load_frame_table(path), load_key_frames(path)
    except (OSError, MediaError):
        raise Http404 from None
    table = {
        "ticks_per_s": TICKS_PER_S,
        "first_frame": found.clip.first_frame,
        "pts": pts.tolist(),
        "key_frames": keys.tolist(),
    }
    return JsonResponse(table, headers={"Cache-Control": "private, no-store"})
