"""Before the pull: will it hold, will it stay on scale, where may people stand.

Pure functions over frozen data; they import units, errors and the cell's plate, know nothing of files and screens.

    ranges    range plan: cell, gain and rate against the expected load
    events    what a rate can and cannot see
    rig       rig check: weakest element, anchors, energy, distances
    describe  the table [rig] of session.toml -> Rig
    elements, anchors, energy, standoff    the parts of the rig check
    specimens how many are needed, in which order
    rules     every factor and rule of thumb, each with its source

No result here rates a part as safe for people to trust their weight to.
"""
