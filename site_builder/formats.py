"""JSON Schemas of the JSON files a site offers. Records are described by the models, so a new field is in both at once."""

from typing import Any, cast

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from ..kb.load import FIELDS, MODELS
from ..kb.models import KnowledgeBase
from ..kb.schema import DIALECT
from ..kb.values import ID_PATTERN, Fact
from .exports import FORMAT as DATA_FORMAT
from .records_json import RECORD_FORMAT, WHOLE_FORMAT
from .tables_csv import DATATYPES
from .tabular import FORMAT as TABLES_FORMAT
from .texts import FOLDERS

Schema = dict[str, Any]
_ID = {"type": "string", "pattern": ID_PATTERN}
_TEXT = {"type": "string"}
_COUNT = {"type": "integer", "minimum": 1}
#: The folder a record lies in, which its file does not say itself.
_HOMES = {"part": "slot_type", "set": "family", "sighting": "family", "variant": "family"}


def schemas() -> dict[str, Schema]:
    """{name: schema} of every format; the name is the middle part of `tellmark/<name>/<version>`."""
    return {"record": _record(), "knowledge-base": _whole(), "data": _data(), "tables": _tables()}


def _object(required: Schema, optional: Schema | None = None, **more: object) -> Schema:
    properties = {**required, **(optional or {})}
    return {"type": "object", "properties": properties, "required": list(required), "additionalProperties": False, **more}


def _headed(title: str, schema: Schema) -> Schema:
    return {"$schema": DIALECT, "title": title, **schema}


# Records ---------------------------------------------------------------------------------------------------------------


def _definitions() -> Schema:
    """The records as they are written out: by their models, and a variant with what it inherits."""
    models: list[type[BaseModel]] = [KnowledgeBase, *(MODELS[kind] for kind in FIELDS), Fact]
    _, found = models_json_schema([(model, "serialization") for model in models], ref_template="#/$defs/{model}")
    definitions: Schema = _tidy(found["$defs"])
    for kind, home in _HOMES.items():
        own: Schema = definitions[MODELS[kind].__name__]
        own["properties"] = {home: _ID, **own["properties"]}
        own["required"] = [home, *own.get("required", [])]
    written: Schema = definitions.pop("Variant")
    kept = ("name", "about", "sources", "verified", "moved_to", "split_into", "family")
    signpost = {name: value for name, value in written["properties"].items() if name in kept}
    definitions["Signpost"] = {
        "description": "An id that is kept only to lead somewhere else.",
        **_object({"family": _ID}, {name: value for name, value in signpost.items() if name != "family"}),
        "anyOf": [{"required": ["moved_to"]}, {"required": ["split_into"]}],
    }
    definitions["Variant"] = _stated(written)
    return dict(sorted(definitions.items()))


def _tidy(schema: Any) -> Any:
    """Without titles that only repeat a name, and without null, which is never written."""
    if isinstance(schema, list):
        return [_tidy(one) for one in cast("list[Any]", schema)]
    if not isinstance(schema, dict):
        return schema
    plain = {key: _tidy(value) for key, value in cast("Schema", schema).items()}
    if isinstance(plain.get("title"), str):
        del plain["title"]
    kept = [one for one in plain.get("anyOf", []) if one != {"type": "null"}]
    if len(kept) < len(plain.get("anyOf", [])):
        rest = {key: value for key, value in plain.items() if key not in ("anyOf", "default")}
        return rest | (kept[0] if len(kept) == 1 else {"anyOf": kept})
    return plain


def _stated(written: Schema) -> Schema:
    """A variant with what it inherits."""
    told = ("about", "kind", "livery", "catalog_number", "batch", "made", "how_common", "sold_alone", "verified")
    facts = {"type": "object", "propertyNames": _ID, "additionalProperties": {"$ref": "#/$defs/Fact"}}
    seat = _object({"set": _ID, "position": _COUNT})
    return {
        "description": "A variant with what it inherits. What is not in it nobody recorded.",
        **_object(
            {
                **{"name": _TEXT, "family": _ID, "shows": facts, "fitted": facts},
                **{"sets": {"type": "array", "items": seat}, "sources": written["properties"]["sources"]},
            },
            {name: written["properties"][name] for name in told},
        ),
    }


def _model(kind: str) -> Schema:
    one = {"$ref": f"#/$defs/{MODELS[kind].__name__}"}
    return {"anyOf": [one, {"$ref": "#/$defs/Signpost"}]} if kind == "variant" else one


def _record() -> Schema:
    """The file beside a page."""
    head = {"format": {"const": RECORD_FORMAT}, "license": _TEXT, "kind": {"enum": sorted(FOLDERS)}, "id": _TEXT, "record": {}}
    of_kind = [
        {"if": {"properties": {"kind": {"const": kind}}}, "then": {"properties": {"record": _model(kind)}}}
        for kind in sorted(FOLDERS)
    ]
    return _headed("The record of a page", _object(head, allOf=of_kind, **{"$defs": _definitions()}))


def _whole() -> Schema:
    """The knowledge base as one file."""
    records = _object({name: {"type": "object", "additionalProperties": _model(kind)} for kind, name in FIELDS.items()})
    day = {"type": "string", "format": "date", "description": "the latest day that anything in the record names"}
    about = {"$ref": "#/$defs/KnowledgeBase"}
    body = _object({"format": {"const": WHOLE_FORMAT}, "as_of": day, "about": about, "records": records})
    return _headed("A whole knowledge base", body | {"$defs": _definitions()})


# The list of files, and the description of the tables ------------------------------------------------------------------


def _data() -> Schema:
    """The list of everything there is to download."""
    file = _object(
        {
            **{"address": _TEXT, "about": _TEXT, "type": _TEXT, "bytes": {"type": "integer", "minimum": 0}},
            "sha256": {"type": "string", "pattern": "^[0-9a-f]{64}$"},
        }
    )
    head = {"format": {"const": DATA_FORMAT}, "title": _TEXT, "license": _TEXT, "as_of": {"type": "string", "format": "date"}}
    files = {"type": "array", "items": file, "description": "addresses are relative to the root of the site"}
    return _headed("The files of a knowledge base", _object({**head, "files": files}))


def _tables() -> Schema:
    """csv-metadata.json: as much of the W3C's vocabulary as is used."""
    names = {"type": "array", "items": _TEXT, "minItems": 1}
    column = _object(
        {"name": _TEXT, "titles": _TEXT, "dc:description": _TEXT, "datatype": {"enum": sorted(DATATYPES.values())}},
        {"required": {"const": True}},
    )
    reference = _object({"resource": _TEXT, "columnReference": names})
    foreign = {"type": "array", "items": _object({"columnReference": names, "reference": reference})}
    schema = _object({"columns": {"type": "array", "items": column}, "primaryKey": names}, {"foreignKeys": foreign})
    table = _object({"url": _TEXT, "dc:description": _TEXT, "tableSchema": schema})
    dialect = _object({"lineTerminators": {"const": ["\r\n"]}, "encoding": {"const": "utf-8"}})
    head = {"@context": {"const": ["http://www.w3.org/ns/csvw", {"@language": "en"}]}, "dc:title": _TEXT}
    body = {"dc:conformsTo": {"const": TABLES_FORMAT}, "dialect": dialect, "tables": {"type": "array", "items": table}}
    license_ = _object({"@id": _TEXT})
    return _headed("What the columns of the tables mean", _object({**head, **body}, {"dc:license": license_}))
