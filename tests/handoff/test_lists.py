from __future__ import annotations

import pytest

from handoff.pools import stack
from sorter.errors import BadChoice
from sorter.handoff.choose import choose
from sorter.handoff.lists import cannot_be_listed, list_text, refuse_shoot
from sorter.model.stack import SliceOrder, StackRequest


def test_a_list_is_absolute_paths_in_the_chosen_order_and_nothing_else() -> None:
    [made] = choose(stack(3, 2), StackRequest(order=SliceOrder.FAR_FIRST)).stacks
    assert list_text("/pools/rock pool", made) == (
        "/pools/rock pool/0003_focus-bracket_2/P3170002.JPG\n"
        "/pools/rock pool/0003_focus-bracket_2/P3170001.JPG\n"
    )


@pytest.mark.parametrize(
    ("path", "says"),
    [("a\nb", "line break"), ("a\rb", "line break"), ("crab\udcff.JPG", "no UTF-8")],
)
def test_what_no_line_can_say_is_refused(path: str, says: str) -> None:
    assert says in cannot_be_listed(path)
    with pytest.raises(BadChoice, match=says):
        refuse_shoot(f"/pools/{path}")


def test_letters_of_any_script_can_be_listed() -> None:
    assert cannot_be_listed("/潮だまり/Seepocke ä.JPG") == ""
    refuse_shoot("/潮だまり")
