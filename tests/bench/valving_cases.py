"""The stack that the bench solves by several programs."""

SHIMS = [(44, 0.2), (44, 0.2), (44, 0.2), (40, 0.15), (38, 0.15), (36, 0.15), (34, 0.15), (32, 0.15), (30, 0.15),
         (28, 0.15), (26, 0.2), (24, 0.25)]
PYRAMID = {"id": "pyramid", "bore": 16, "clamp_radius": 11.0, "E": 205e3, "nu": 0.29, "seat": None,
           "shims": [{"od": outer, "t": thickness} for outer, thickness in SHIMS], "load": {"r_in": 14.0, "r_out": 19.0}}
