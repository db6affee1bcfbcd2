import threading

from telltick.model.snapshot import Phase, Snapshot, View
from telltick.ui.lookout import Lookout

PATIENCE_S = 10.0


class Watched:
    """A slow look, held up by the test, and everything that came of it."""

    def __init__(self) -> None:
        self.go = threading.Semaphore(0)
        self.begun = threading.Semaphore(0)
        self.came = threading.Semaphore(0)
        self.views: list[View] = []
        self.seen: list[Snapshot] = []
        self.failures: list[Exception] = []
        self.fault: Exception | None = None
        self.lookout = Lookout(self.look, self.keep, self.fail)

    def look(self, view: View) -> Snapshot:
        self.views.append(view)
        self.begun.release()
        assert self.go.acquire(timeout=PATIENCE_S)
        if self.fault is not None:
            raise self.fault
        return Snapshot(Phase.RECORDING, now_ns=len(self.views))

    def keep(self, snapshot: Snapshot) -> None:
        self.seen.append(snapshot)
        self.came.release()

    def fail(self, why: Exception) -> None:
        self.failures.append(why)
        self.came.release()


def test_requests_during_a_look_collapse_into_one_more_with_the_newest_view():
    watched = Watched()
    watched.lookout.start()
    watched.lookout.ask(View(strip_cells=1))
    assert watched.begun.acquire(timeout=PATIENCE_S)
    for cells in range(2, 50):
        watched.lookout.ask(View(strip_cells=cells))
    watched.go.release()
    assert watched.begun.acquire(timeout=PATIENCE_S)
    watched.go.release()
    for _ in range(2):
        assert watched.came.acquire(timeout=PATIENCE_S)
    assert watched.lookout.stop(PATIENCE_S)
    assert [view.strip_cells for view in watched.views] == [1, 49]
    assert [snapshot.now_ns for snapshot in watched.seen] == [1, 2]


def test_a_look_that_fails_is_handed_on_and_the_next_one_is_made():
    watched = Watched()
    watched.lookout.start()
    watched.fault = RuntimeError("torn row")
    for fault in (watched.fault, None):
        watched.fault = fault
        watched.go.release()
        watched.lookout.ask(View())
        assert watched.came.acquire(timeout=PATIENCE_S)
    assert watched.lookout.stop(PATIENCE_S)
    assert [str(why) for why in watched.failures] == ["torn row"]
    assert len(watched.seen) == 1


def test_a_look_that_hangs_does_not_hold_up_leaving():
    watched = Watched()
    watched.lookout.start()
    watched.lookout.ask(View())
    assert watched.begun.acquire(timeout=PATIENCE_S)
    assert not watched.lookout.stop(0.0)
    watched.go.release()
    assert watched.lookout.stop(PATIENCE_S)


def test_stopping_before_starting_is_no_trouble():
    assert Watched().lookout.stop()
