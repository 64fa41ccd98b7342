"""Pages that watch: each hears everything in order, and one that falls behind is let go."""

from breakyard.field.watchers import BACKLOG, Watchers


def test_each_page_gets_what_came_first_and_then_all_news() -> None:
    """Until it leaves; then it is no longer counted."""
    watchers = Watchers()

    with watchers.joined("hello") as page:
        watchers.tell("news")
        assert (len(watchers), page.waiting.get_nowait(), page.waiting.get_nowait()) == (1, "hello", "news")
        assert not page.behind.is_set()
    watchers.tell("too late")
    assert (len(watchers), page.waiting.empty()) == (0, True)


def test_a_page_that_does_not_keep_up_is_let_go() -> None:
    """Nobody waits for it: the others still get everything."""
    watchers = Watchers()

    with watchers.joined("hello") as slow, watchers.joined("hello") as quick:
        for number in range(BACKLOG):
            watchers.tell(str(number))
            quick.waiting.get_nowait()
        assert slow.behind.is_set()
        assert not quick.behind.is_set()
