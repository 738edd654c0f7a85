"""The templates of pages: every text that is put into one is escaped, whoever wrote it."""

from __future__ import annotations

from jinja2 import Environment, PackageLoader, StrictUndefined, Template

from optimiser.neat import neat


def template(name: str) -> Template:
    """A template of ``optimiser/pages`` by its file's name; a name that it is not given is an error."""
    environment = Environment(
        loader=PackageLoader("optimiser", "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["neat"] = neat
    return environment.get_template(name)
