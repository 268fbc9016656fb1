"""The app's addresses, for tests that go through all of them."""

from django.urls import URLPattern, URLResolver, get_resolver


def addresses() -> list[str]:
    """The names of all addresses without arguments."""
    found = []

    def walk(entries: list[URLPattern | URLResolver], space: str) -> None:
        for entry in entries:
            if isinstance(entry, URLResolver):
                walk(entry.url_patterns, entry.namespace or space)
            elif not entry.pattern.converters:
                found.append(f"{space}:{entry.name}")

    walk(get_resolver().url_patterns, "")
    return found
