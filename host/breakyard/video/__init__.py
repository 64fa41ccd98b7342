"""The load in step with the picture: films of pulls with the read-out burnt in, subtitles, and pictures to choose from.

PyAV (the extra "video") is imported in this room alone, inside the functions that need it, and after `need_pyav`.

    clip         what a file holds: its frames with their own times, its sound, what is odd about it
    upright      frames as they are to be seen: turned, cropped, 8 bits, BT.709; `tone` for HDR
    heard, seen  moments in the sound and in the picture that may be the break
    alignment    which moment of the clip is which moment of the run, with a budget
    readout      what is said at a moment of the run (no pixels); `panel` draws it, `lettering` and `planes` help
    pace         which moment of the clip an output frame shows
    film         an MP4, encoded
    burn, beside, bare, subtitles, sheet      what comes out
"""
