"""`tellmark schema`: the JSON Schema of records and outputs."""

import json
from importlib.resources import files

import click

from ..kb.findings import nearest
from ..kb.schema import file_schema, kinds
from .common import print_json, refuse

SCHEMAS = files("tellmark.cli").joinpath("schemas")


@click.command("schema")
@click.argument("kind", required=False)
def command(kind: str | None) -> None:
    """Print the JSON Schema of a kind of record file, of an answers file, or of a command's --json output.

    Without KIND it lists what there is. An editor that is given the schema completes and checks entries while they are typed.
    """
    outputs = sorted(path.name.removesuffix(".json") for path in SCHEMAS.iterdir())
    names = {**{one.replace(" ", "-"): one for one in kinds()}, **{f"output-{one}": one for one in outputs}}
    if kind is None:
        click.echo("\n".join(sorted(names)))
    elif kind.startswith("output-") and kind in names:
        print_json(json.loads(SCHEMAS.joinpath(f"{names[kind]}.json").read_text("utf-8")))
    elif kind in names:
        print_json(file_schema(names[kind]))
    else:
        refuse(f'"{kind}"', "one of " + ", ".join(sorted(names)), nearest(kind, names))
