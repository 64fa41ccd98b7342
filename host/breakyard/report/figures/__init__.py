"""The pictures: a pull, its break in detail, a session in one picture, a calibration and its recording.

Each is imported from its own module, so that who draws one loads one.
"""
