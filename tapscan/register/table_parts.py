"""What the modules of tables share."""

from sqlalchemy import JSON, Column, ForeignKey, Integer, MetaData

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def json_column(name: str) -> Column:
    """Of lists and records."""
    return Column(name, JSON(none_as_null=True))


def row_of(what: str) -> tuple[Column, Column]:
    """Key columns of a row that belongs to one of `what`."""
    return (
        Column(f"{what}_id", ForeignKey(f"{what}.row"), primary_key=True),
        Column("position", Integer, primary_key=True, autoincrement=False),
    )
