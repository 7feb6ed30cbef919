"""Sound files: what they are, the working copy, the access copy without its closed seconds, peaks, pauses, ranges.

No Django in here: paths, integers and arrays only. Times are integer milliseconds, spans half-open [start, end).
Errors are `errors.MediaError` with a message for people and a stable `code`.

    from archive.media.probe import probe, check_name_matches, sha256_file, receive
    received = receive(upload.chunks(), masters_dir)         # path, sha256, size; whole or not at all
    facts = probe(received.path)                             # container, codec, duration_ms, rate_hz, channels...
    check_name_matches(facts, upload.name)

    from archive.media.working import make_working_copy, read_working_copy
    copy = make_working_copy(received.path, work_dir / "x.flac")   # its samples / 48 are the time code in ms

    from archive.media.rendition import render, rendition_key, sweep_chunks
    name = rendition_key(received.sha256, closed, start_ms, end_ms)
    served = render(copy.path, out_dir / f"{name}.m4a", closed, chunk_dir=chunks)   # path, sha256 (the ETag), peaks
    sweep_chunks(chunks, keep=[served, *clips])              # forget what was closed since

    from archive.media.files import remove_leftovers         # after a crash: half-done files older than a day

    from archive.media.pauses import find_pauses             # suggestions for cuts
    from archive.media.peaks import peaks_of                 # of a rendition; render() gives them too
    from archive.media.ranges import plan_range, strong_etag

Working copy, chunk folder and pauses hold or betray closed sound: keep them where no visitor reaches. When a span is
closed, withdraw the old rendition first, then build, then switch.
"""
