"""Photos that are not here, named by archives, in the stores."""

from __future__ import annotations

import pytest

from dryslate.base.errors import StoreError


def test_photos_and_frames_come_back_as_they_were_read(store, rows) -> None:
    rows.fill(store)
    photo = rows._more["archived_photo"](visit_id=rows.VISIT_ID)
    frame = rows._more["archived_frame"](organism_id=rows.colony().organism_id)
    assert store.archived_photos() == (photo,)
    assert store.archived_frames() == (frame,)
    assert store.archived_frames(frame.organism_id) == (frame,)
    assert store.archived_frames("another") == ()
    assert [c.what for c in store.changes("archived_frames")] == ["insert"]


def test_frame_without_its_photo_or_colony_is_refused(store, rows) -> None:
    rows.fill(store)
    for wrong in ({"photo_id": "f" * 64}, {"organism_id": "nobody"}):
        of = {"organism_id": rows.colony().organism_id} | wrong
        with pytest.raises(StoreError, match="store-refused"):
            store.save_archived_frame(rows._more["archived_frame"](**of))
    with pytest.raises(StoreError, match="store-refused"):
        store.save_archived_photo(rows._more["archived_photo"](visit_id="never"))
