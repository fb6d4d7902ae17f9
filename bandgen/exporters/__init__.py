"""Writing a band to files, and reading meshes back.

==============  ==================================================================================
``stl``         binary STL to bytes; binary and ASCII STL from bytes
``threemf``     3MF core package to bytes and from bytes
``files``       names, folders, and writing all of a band's files or none
``readers``     a mesh from a file of either kind
==============  ==================================================================================

Meshes are a pair ``vertices (n, 3) float`` in mm and ``faces (m, 3) int``, counter-clockwise seen from
outside. Encoders round to single precision, the precision of STL, so both formats hold the same numbers;
decoders return those numbers as double. The same mesh always gives the same bytes: no date, no clock, no
locale, no set order. Nothing is imported here, so that naming the package costs nothing.
"""
