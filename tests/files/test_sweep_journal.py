"""Long studies: a journal that survives being killed, and the same outcomes whoever solves them."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from castq.core.errors import CastqError, InputError
from castq.files import sweep_journal
from castq.files.sweep_journal import NAME, Journal, Solves, open_journal, study_folder, study_of
from castq.screening import workers
from castq.screening.levers import State, change_of
from castq.screening.outcome import Outcome
from castq.screening.variant import Basis, fingerprint, key_of
from castq.screening.workers import solve_here, solve_on_cluster, solve_parallel
from tests.screening import cases

CHANGES = [change_of({"hydrogen": 0.08 + 0.01 * k}) for k in range(5)]
SECTIONS = Path(__file__).parents[2] / "datasets" / "demo" / "sections.csv"


def basis_of(**changes: object) -> Basis:
    return Basis(State(cases.wheel(**changes)), 32, 1)


def counting(solved: list):
    def solver(basis, changes, done):
        solved.extend(changes)
        solve_here(basis, changes, done)

    return solver


def text(outcomes) -> list[dict]:
    return [outcome.to_dict() for outcome in outcomes]


@pytest.fixture(scope="module")
def alone() -> list[dict]:
    return text(Solves(basis_of(), solve_here)(CHANGES))


def test_a_second_run_solves_only_what_is_missing(tmp_path: Path, alone) -> None:
    basis, first, second = basis_of(), [], []
    journal = open_journal(tmp_path, basis, False)
    Solves(basis, counting(first), journal)(CHANGES[:4])
    journal.close()
    journal = open_journal(tmp_path, basis, False)
    solves = Solves(basis, counting(second), journal)
    assert text(solves(CHANGES)) == alone
    journal.close()
    assert first == CHANGES[:4] and second == CHANGES[4:]
    assert (solves.solved, solves.found) == (1, 4)


def test_an_equal_variant_is_solved_once() -> None:
    solved: list = []
    solves = Solves(basis_of(), counting(solved))
    once, again = solves([CHANGES[0], CHANGES[0]])
    assert once == again and solved == [CHANGES[0]]
    solves([CHANGES[0]])
    assert len(solved) == 1


@pytest.mark.parametrize("cut", [1, 40, -1])
def test_a_line_cut_off_by_a_crash_is_solved_again(tmp_path: Path, cut: int, alone) -> None:
    basis, solved = basis_of(), []
    journal = open_journal(tmp_path, basis, False)
    Solves(basis, solve_here, journal)(CHANGES[:3])
    journal.close()
    path = tmp_path / NAME
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:-1]) + lines[-1][:cut])
    journal = open_journal(tmp_path, basis, False)
    assert text(Solves(basis, counting(solved), journal)(CHANGES[:3])) == alone[:3]
    journal.close()
    assert solved == [CHANGES[2]]
    assert len(path.read_bytes().splitlines()) == 4


def test_a_journal_cut_off_in_its_first_line_begins_anew(tmp_path: Path) -> None:
    (tmp_path / NAME).write_bytes(b'{"journal":"castq so')
    journal = open_journal(tmp_path, basis_of(), False)
    journal.close()
    assert not journal.solved and (tmp_path / NAME).read_bytes().endswith(b"}\n")


def test_a_damaged_line_in_the_middle_is_named(tmp_path: Path) -> None:
    basis = basis_of()
    journal = open_journal(tmp_path, basis, False)
    Solves(basis, solve_here, journal)(CHANGES[:2])
    journal.close()
    path = tmp_path / NAME
    lines = path.read_bytes().splitlines(keepends=True)
    for wrong in (b"{}\n", b"[1]\n", b"\xff\n", b'{"key":"x","outcome":{"held":7}}\n'):
        path.write_bytes(lines[0] + wrong + lines[2])
        before = path.read_bytes()
        with pytest.raises(InputError, match="line 2: is damaged"):
            open_journal(tmp_path, basis, False)
        assert path.read_bytes() == before
    open_journal(tmp_path, basis, True).close()
    assert len(path.read_bytes().splitlines()) == 1


@pytest.mark.parametrize(
    ("other", "says"),
    [
        (Basis(State(cases.wheel(name="another wheel")), 32, 1), "'wheel', this is case 'another wheel'"),
        (Basis(State(cases.wheel()), 64, 1), "number of draws '32', this is number of draws '64'"),
        (Basis(State(cases.wheel()), 32, 2), "seed '1', this is seed '2'"),
        (Basis(State(cases.wheel(), "solid"), 32, 1), "depth 'section', this is depth 'solid'"),
        (Basis(State(cases.wheel(melt=cases.melt(hydrogen_ml_100g=0.2))), 32, 1), "another state of 'wheel'"),
    ],
)
def test_the_folder_of_another_study_is_refused_and_kept(tmp_path: Path, other: Basis, says: str) -> None:
    open_journal(tmp_path, basis_of(), False).close()
    before = (tmp_path / NAME).read_bytes()
    with pytest.raises(InputError, match=says) as caught:
        open_journal(tmp_path, other, False)
    assert len(caught.value.faults) == 1 and "--force" in str(caught.value)
    assert (tmp_path / NAME).read_bytes() == before


def test_solves_of_another_version_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    study = replace(study_of(basis_of()), castq="0.0.1", basis="0" * 64)
    Journal(tmp_path / NAME, study).close()
    with pytest.raises(InputError, match=r"castq version '0\.0\.1'"):
        open_journal(tmp_path, basis_of(), False)
    sha = fingerprint(basis_of())
    monkeypatch.setattr("castq.screening.variant.__version__", "9.9.9")
    assert key_of(fingerprint(basis_of()), CHANGES[0]) != key_of(sha, CHANGES[0])


def test_two_at_work_in_one_folder_are_told(tmp_path: Path) -> None:
    journal = open_journal(tmp_path, basis_of(), False)
    with pytest.raises(InputError, match="another castq is at work"):
        open_journal(tmp_path, basis_of(), False)
    journal.close()
    open_journal(tmp_path, basis_of(), False).close()


def test_a_folder_with_other_things_is_refused_without_force(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("x")
    with pytest.raises(InputError, match="holds files already"):
        study_folder(tmp_path, False)
    assert study_folder(tmp_path, True) == tmp_path.resolve()
    open_journal(tmp_path, basis_of(), False).close()
    assert study_folder(tmp_path, False) == tmp_path.resolve()


def test_each_outcome_is_on_the_disk_before_the_next_is_asked_for(tmp_path: Path) -> None:
    basis, sizes = basis_of(), []
    journal = open_journal(tmp_path, basis, False)

    def told(finished: int, asked: int) -> None:
        sizes.append((finished, asked, len((tmp_path / NAME).read_bytes().splitlines())))

    Solves(basis, solve_here, journal, told)(CHANGES[:3])
    journal.close()
    assert sizes == [(1, 3, 2), (2, 3, 3), (3, 3, 4)]


def test_processes_lost_again_and_again_end_in_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "cores", lambda: 2)
    monkeypatch.setattr(workers, "_one_pool", lambda basis, changes, done, count: list(changes))
    with pytest.raises(CastqError, match="5 variants were lost 3 times"):
        solve_parallel(basis_of(), CHANGES, lambda change, outcome: None, 2)


def test_a_dask_cluster_gives_what_one_process_gives_even_when_a_worker_goes(alone) -> None:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:  # fmt: skip
        gone: list[str] = []

        def solver(basis, changes, done):
            def first_closes(change, outcome):
                done(change, outcome)
                if not gone:
                    worker = next(iter(cluster.workers.values()))
                    gone.append(worker.address)
                    cluster.sync(worker.close)

            solve_on_cluster(basis, changes, first_closes, cluster.scheduler_address)

        assert text(Solves(basis_of(), solver)(CHANGES)) == alone
        assert gone


def test_a_cluster_that_is_not_there_or_not_installed_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "CONNECT_S", 1)
    if "distributed" in sys.modules:
        with pytest.raises(InputError, match="no Dask scheduler answers") as caught:
            solve_on_cluster(basis_of(), CHANGES, lambda change, outcome: None, "tcp://127.0.0.1:9")
        assert len(caught.value.faults) == 1
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"castq\[cluster\]"):
        solve_on_cluster(basis_of(), CHANGES, lambda change, outcome: None, "tcp://127.0.0.1:9")


def test_a_study_killed_without_warning_goes_on_where_it_was(tmp_path: Path) -> None:
    out = tmp_path / "study"
    words = [sys.executable, "-m", "castq", "improve", str(SECTIONS), "--alloy", "A356", "--draws", "32", "--sweep",
             "9", "--over", "hydrogen=0.05..0.3 ml/100g", "--over", "melt_temp=690..740 degC", "--workers", "1",
             "--out", str(out)]  # fmt: skip
    run = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    journal = out / NAME
    deadline = time.monotonic() + 120
    while time.monotonic() < deadline and not (journal.exists() and journal.read_bytes().count(b"\n") > 3):
        time.sleep(0.02)
    os.kill(run.pid, signal.SIGKILL)
    run.wait()
    kept = journal.read_bytes().count(b"\n") - 1
    assert 3 <= kept < 10 and not (out / "sweep.csv").exists()
    from tests.cli.run import castq

    said = castq(*words[3:])
    assert said.code == 0, said.err
    assert f"{10 - kept} solved now, {kept} taken from the folder" in said.err
    assert len((out / "sweep.csv").read_text().splitlines()) == 10


def test_outcomes_in_a_journal_are_what_was_solved(tmp_path: Path, alone) -> None:
    basis = basis_of()
    journal = open_journal(tmp_path, basis, False)
    Solves(basis, solve_here, journal)(CHANGES[:2])
    journal.close()
    again = open_journal(tmp_path, basis, False)
    again.close()
    keys = [key_of(fingerprint(basis), change) for change in CHANGES[:2]]
    assert [again.solved[key].to_dict() for key in keys] == alone[:2]
    assert isinstance(again.solved[keys[0]], Outcome) and sweep_journal.FORM == 1
