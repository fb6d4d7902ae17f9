"""The engines: the only doors to the geometry kernels, both with the same few verbs on the same parts.

``mesh`` is the door to manifold3d, ``exact`` (with ``exact_solid``, ``exact_join`` and ``step``) the one to
cadquery's kernel. Nothing is imported here: a mesh file must not pay for loading the exact kernel.
"""
