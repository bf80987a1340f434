"""Commands that list what castq knows: relations and materials, each with its source."""

from __future__ import annotations

import json

import typer

JSON_OPTION = typer.Option(False, "--json", help="Print one JSON document on stdout and nothing else.")


def relations(
    id: str = typer.Argument("", help="Id of one relation, for its full card."),
    as_json: bool = JSON_OPTION,
) -> None:
    """List the relations castq uses, or show the card of one.

    Example: castq relations sdas-cube-root-time
    """
    import castq.physics
    import castq.thermal.wall  # noqa: F401
    from castq.core.errors import input_error, nearest
    from castq.core.nomenclature import SCHEMA_VERSION
    from castq.core.relation import REGISTRY
    from castq.report.relations import relation_card, relation_table

    if id and id not in REGISTRY:
        raise input_error("relations", id, "no relation has this id", "", nearest(id, sorted(REGISTRY)))
    chosen = [REGISTRY[key] for key in ([id] if id else sorted(REGISTRY))]
    if as_json:
        cards = [entry.to_dict() for entry in chosen]
        typer.echo(json.dumps({"schema_version": SCHEMA_VERSION, "relations": cards}, indent=2, ensure_ascii=False))
    else:
        typer.echo(relation_card(chosen[0]) if id else relation_table(chosen))


def materials(
    name: str = typer.Argument("", help="Name or alias of one alloy, die material or coating."),
    as_json: bool = JSON_OPTION,
) -> None:
    """List alloys, die materials and coatings, or show the values and sources of one.

    Example: castq materials A356
    """
    from castq.report.materials import material_card, material_overview

    document = material_card(name) if name else material_overview()
    typer.echo(json.dumps(document.to_dict(), indent=2, ensure_ascii=False) if as_json else document.text())


def add_commands(app: typer.Typer) -> None:
    """Add this module's commands to the app."""
    app.command("relations")(relations)
    app.command("materials")(materials)
