"""The bill of materials of a release (CycloneDX 1.6, ECMA-424): busbook and all that it needs.

busbook declares ranges; the bill names the versions of ``.ci/runtime.txt``, with which the tests
ran. Nothing in it is of the moment: equal files make an equal bill.
"""

from __future__ import annotations

import importlib.metadata
import uuid
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from cyclonedx.contrib.license.factories import LicenseFactory
from cyclonedx.model import (
    ExternalReference,
    ExternalReferenceType,
    HashAlgorithm,
    HashType,
    Property,
    XsUri,
)
from cyclonedx.model.bom import Bom, BomMetaData
from cyclonedx.model.component import Component, ComponentType
from cyclonedx.output.json import JsonV1Dot6
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from packageurl import PackageURL
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.full.folder import licence_named
from tests.release.builds import sha256
from tests.release.locked import Locked


def bill(
    files: Sequence[Path], project: Mapping[str, Any], runtime: Sequence[Locked], when: datetime
) -> str:
    """The bill as JSON.

    Parameters
    ----------
    files : sequence of Path
        The wheel and the source archive.
    project : mapping
        Table ``project`` of pyproject.toml.
    runtime : sequence of Locked
        All that runs, installed here at these versions: their licences are read from what is
        installed.
    when : datetime
        Of the release: of its commit.

    Raises
    ------
    SystemExit
        Where one of them is not here at its version, or names no licence.
    """
    own = Component(
        name=project["name"],
        version=project["version"],
        type=ComponentType.APPLICATION,
        bom_ref=project["name"],
        purl=PackageURL("pypi", name=project["name"], version=project["version"]),
        licenses=[LicenseFactory().make_from_string(project["license"])],
        external_references=[_distributed(path.name, [sha256(path)]) for path in files],
    )
    parts = {one.name: _component(one) for one in runtime}
    digest = "".join(sha256(path) for path in files)
    bom = Bom(
        serial_number=uuid.uuid5(uuid.NAMESPACE_OID, f"{digest} {sorted(runtime)}"),
        metadata=BomMetaData(component=own, timestamp=when),
        components=parts.values(),
    )
    bom.register_dependency(own, [parts[n] for n in _needs(project["dependencies"])])
    for name, part in parts.items():
        needed = _needs(importlib.metadata.requires(name))
        bom.register_dependency(part, [parts[n] for n in needed if n in parts])
    return JsonV1Dot6(bom).output_as_string(indent=2) + "\n"


def against_its_schema(text: str) -> None:
    """Raises SystemExit where a bill is not what CycloneDX says it is."""
    wrong = JsonStrictValidator(SchemaVersion.V1_6).validate_str(text)
    if wrong is not None:
        raise SystemExit(f"the bill of materials is not valid: {wrong}")


def _component(one: Locked) -> Component:
    try:
        here = importlib.metadata.distribution(one.name)
    except importlib.metadata.PackageNotFoundError:
        raise SystemExit(f"{one.name} is not installed here: its licence is not known") from None
    if here.version != one.version:
        raise SystemExit(f"{one.name} is here as {here.version}, but locked as {one.version}")
    licence = licence_named(here)
    if not licence:
        raise SystemExit(f"{one.name} {one.version} names no licence")
    purl = PackageURL("pypi", name=one.name, version=one.version)
    marker = [Property(name="busbook:marker", value=one.marker)] if one.marker else []
    return Component(
        name=one.name,
        version=one.version,
        bom_ref=one.name,
        purl=purl,
        licenses=[LicenseFactory().make_from_string(licence)],
        # One of these files is taken, by system and Python: none is the component's own hash.
        external_references=[_distributed(str(purl), one.sha256)],
        properties=marker,
    )


def _distributed(address: str, digests: Sequence[str]) -> ExternalReference:
    return ExternalReference(
        type=ExternalReferenceType.DISTRIBUTION,
        url=XsUri(address),
        hashes=[HashType(alg=HashAlgorithm.SHA_256, content=digest) for digest in digests],
    )


def _needs(declared: Sequence[str] | None) -> list[str]:
    """Names of what is needed, whatever for: an extra that was not locked is not found there."""
    return [canonicalize_name(Requirement(text).name) for text in declared or ()]
