"""Django starts parts again where its list of them changes: nothing may stand twice then."""

from django.apps import apps

from layflat.web.gates import doing
from layflat.web.jobs import additions, stages
from layflat.web.laying import done


def test_parts_that_start_again_enter_nothing_twice() -> None:
    def entered() -> list[int]:
        return [
            len(additions.sections(is_work=True)),
            len(additions.sections(is_work=False)),
            len(additions._undo_makers),
            sum(map(len, stages._LEAVING.values())),
            sum(map(len, doing._CHECKS.values())),
            len(done._WHEN_LAID),
            len(done._WHEN_UNDONE),
        ]

    before = entered()
    assert min(before) > 0
    for part in apps.get_app_configs():
        part.ready()
    assert entered() == before
