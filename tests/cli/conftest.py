from tests.cli.a_plates_life import life, where  # noqa: F401  fixtures
