"""A vehicle's own limit from the words of one command: checked like any pack (pure)."""

from __future__ import annotations

import json

from fieldlog.catalogue.component import Catalogue
from fieldlog.limits.packs import faults_error, parse_pack
from fieldlog.model.limit import Limit


def own_limit(
    component: str,
    characteristic: str,
    relation: str,
    printed: str,
    source: str,
    catalogue: Catalogue,
    *,
    position: str = "",
    severity: str = "major",
    advice: str = "",
) -> Limit:
    """The maker's value as printed in the vehicle's manual; it gates (status *entered by user*).

    ``printed``: ``"4.5 mm"``, or ``"85 to 95 N.m"`` for ``between``. Raises ``LimitError`` with every
    fault: an unknown name, a unit of another kind, no source.
    """
    identity = ".".join(
        part.replace(" ", "-") for part in ("own", component, characteristic, position) if part
    )
    row = {
        "id": identity,
        "component": component,
        "characteristic": characteristic,
        "relation": relation,
        "printed": printed,
        "source": source.strip(),
        "status": "entered by user",
        "severity": severity,
        "advice": advice,
        "aggregation": "each",
    }
    lines = ["[pack]", 'id = "own"', 'title = "own"', 'layer = "maker"', "[[limit]]"]
    lines += [f"{key} = {json.dumps(value)}" for key, value in row.items()]
    lines += [f"applies = {{ position = {json.dumps(position)} }}"] if position else []
    pack, faults = parse_pack("\n".join(lines), "own")
    if pack is not None and not faults:
        from fieldlog.limits.pack_faults import pack_faults

        faults = pack_faults([pack], catalogue)
    if faults or pack is None:
        raise faults_error(faults)
    return pack.limits[0]
