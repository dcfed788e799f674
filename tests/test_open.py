"""Pages and notebooks are served to whoever has the key, from this computer alone, and nothing is left behind."""

from __future__ import annotations

import hashlib
import json
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from served import environment, served, until

from contrastkit.cli import main
from contrastkit.errors import InvalidInputError, MissingPackageError
from contrastkit.panels import serving

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"
NO_KERNEL = "00000000-0000-0000-0000-000000000000"
EVERYTHING = (
    "/", "/sort", "/sort.ipynb", "/nothing-here", "/voila/static/voila.js", "/voila/templates/lab/static/index.css",
    "/voila/labextensions/anywidget/package.json",
    "/letters/AtkinsonHyperlegibleNext-Regular.ttf", f"/alive/{NO_KERNEL}", f"/api/kernels/{NO_KERNEL}",
    f"/api/kernels/{NO_KERNEL}/channels",
)  # fmt: skip
SOCKET = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec_WebSocket_Version": "13",
          "Sec_WebSocket_Key": "dGhlIHNhbXBsZSBub25jZQ=="}


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    with served("open", "sort", "--no-browser", "--pile", "own.sqlite", folder=folder) as server:
        yield server


@pytest.fixture(scope="module")
def page(pages):
    """The page that the printed address leads to, as a browser gets it."""
    return pages.ask("/sort", **pages.enter())


# --- the key ---


@pytest.mark.parametrize("path", EVERYTHING)
def test_nothing_is_given_without_the_key(pages, path):
    """Any other user of this computer could read the pile and run programs as its owner."""
    answer = pages.ask(path)
    assert answer.status == 403
    assert "needs its key" in answer.text


@pytest.mark.parametrize("path", EVERYTHING)
def test_a_wrong_key_opens_nothing(pages, path):
    """A key would be a decoration."""
    assert pages.ask(f"{path}?token={pages.token[:-1]}").status == 403
    assert pages.ask(path, Cookie=f"contrastkit-{pages.port}={pages.token}").status == 403
    assert pages.ask(path, Authorization="token ").status == 403


def test_a_socket_needs_the_key_too(pages):
    """Whoever reaches the socket of a kernel runs programs. 404: with the key, there only is no such kernel."""
    path = f"/api/kernels/{NO_KERNEL}/channels"
    assert pages.ask(path, **SOCKET).status == 403
    assert pages.ask(path, **SOCKET, **pages.enter()).status == 404
    assert pages.ask(path, **SOCKET, **pages.enter(), Origin="http://elsewhere.example").status == 403


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "HEAD"])
def test_no_other_way_of_asking_goes_round_the_key(pages, method):
    """A kernel could be stopped, or its page be read, by asking differently."""
    assert pages.ask(f"/voila/api/shutdown/{NO_KERNEL}", method=method).status == 403
    assert pages.ask("/sort", method=method).status == 403


def test_the_printed_address_lets_a_browser_in_and_hides_the_key(pages):
    """The key would stay in the address, and go wherever a picture of the screen or a copied address goes."""
    answer = pages.ask(f"/sort?token={pages.token}&more=1")
    assert answer.status == 302
    assert answer.headers["Location"] == "/sort?more=1"
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Lax" in cookie and pages.token not in cookie
    assert answer.headers["Cache-Control"] == "no-store"


def test_what_changes_something_must_come_from_a_page_of_ours(pages):
    """A form on a page of somebody else's could stop a kernel. 404: from our page, there only is no such kernel."""
    path, inside = f"/voila/api/shutdown/{NO_KERNEL}", pages.enter()
    assert pages.ask(path, method="POST", **inside).status == 403
    assert pages.ask(path, method="POST", **inside, Origin="http://127.0.0.1:1").status == 403
    assert pages.ask(path, method="POST", **inside, Origin=pages.origin).status == 404


def test_nobody_is_sent_to_another_computer(pages):
    """An address with the key could be bent so that it leads elsewhere."""
    assert pages.ask(f"//elsewhere.example/?token={pages.token}").headers["Location"] == "/elsewhere.example/"


@pytest.mark.parametrize("head", [{"Host": "elsewhere.example"}, {"Origin": "http://elsewhere.example"},
                                  {"Origin": "null"}, {"Host": "127.0.0.1:1"}])  # fmt: skip
def test_pages_of_others_cannot_ask_in_the_users_name(pages, head):
    """A page on the internet could have the browser ask, which has been let in; or call itself this computer."""
    assert pages.ask("/sort", **pages.enter(), **head).status == 403
    assert pages.ask(f"/sort?token={pages.token}", **head).status == 403


def test_only_this_computer_is_listened_to(pages):
    """Everybody in the same network could try. 127.0.0.2 is this computer by another of its addresses."""
    with socket.create_connection(("127.0.0.1", pages.port), timeout=5):
        pass
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.2", pages.port), timeout=5)


@pytest.mark.parametrize("path", ["/voila/tree", "/voila/render/sort.ipynb", "/voila/files/sort.ipynb", "/api/contents",
                                  "/voila/api/contents", "/api/kernels", "/voila/static/../../../../../etc/passwd",
                                  "/letters/..%2f..%2f__init__.py", "/login"])  # fmt: skip
def test_nothing_is_served_but_the_pages(pages, path):
    """What nobody needs is a way in that nobody watches."""
    assert pages.ask(path, **pages.enter()).status in (403, 404)


# --- pages ---


def test_the_page_is_the_notebooks_question(page):
    """A reader with many tabs, or with a screen reader, knows a page by its title and its landmarks."""
    assert page.status == 200
    [title] = re.findall("<title>(.*)</title>", page.text)
    assert title == "Which pieces are dark, which are medium, and which are light?"
    assert '<html lang="en"' in page.text and "<main" in page.text
    assert "import contrastkit" not in page.text  # code is for the notebook


def test_the_navigation_leads_to_all_pages_and_marks_this_one(page):
    """Somebody who does not read addresses could not go on to the next step."""
    links = re.findall('<li><a href="/(.*?)"( aria-current="page")?>', page.text)
    assert [name for name, _ in links] == list(serving.PAGES)
    assert [name for name, current in links if current] == ["sort"]


def test_the_browser_is_told_to_fetch_nothing_from_elsewhere(page):
    """Without the network a page would be broken; with it, others would know that it was opened."""
    policy = page.headers["Content-Security-Policy"]
    assert "default-src 'self' data: blob:;" in policy and "http" not in policy
    assert not re.findall(r"""(?:src|href)=["'](?:https?:)?//""", page.text)


def test_the_pile_that_was_asked_for_is_the_one_on_the_desk(pages, page):
    """She would sort another pile than she named. The place is relative to where the command was given."""
    assert page.status == 200
    assert (pages.folder / "own.sqlite").is_file()


def test_a_page_never_changes_its_notebook(pages):
    """The next page would begin where this one was left, or not at all."""
    before = {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(NOTEBOOKS.rglob("*.*"))}
    assert pages.ask("/plan", **pages.enter()).status == 200
    assert before == {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(NOTEBOOKS.rglob("*.*"))}


def test_links_between_notebooks_lead_from_page_to_page(pages):
    """What is a link in a notebook would lead nowhere on its page."""
    answer = pages.ask("/photograph.ipynb", **pages.enter())
    assert (answer.status, answer.headers["Location"]) == (301, "/photograph")


def test_every_page_has_a_kernel_of_its_own_and_one_is_kept_ready(pages):
    """Two pages would undo each other's steps; a page would be slow to open."""
    first, second = (pages.ask("/plan", **pages.enter()).text for _ in range(2))
    ids = [re.search('"kernelId": "([-0-9a-f]+)"', text)[1] for text in (first, second)]
    assert ids[0] != ids[1]
    for each in ids:
        assert json.loads(pages.ask(f"/alive/{each}", **pages.enter()).text) == {"alive": True}


def test_a_kernel_that_died_is_said_to_be_dead(pages):
    """A page would answer nothing any more, and not say why."""
    kernels = {each.pid for each in pages.children()}
    text = pages.ask("/plan", **pages.enter()).text
    kernel = re.search('"kernelId": "([-0-9a-f]+)"', text)[1]
    mine = [each for each in pages.children() if kernel in " ".join(each.cmdline())]
    assert kernels and len(mine) == 1
    mine[0].kill()
    until(lambda: not json.loads(pages.ask(f"/alive/{kernel}", **pages.enter()).text)["alive"], "the kernel is dead")


def test_kernels_run_in_the_python_of_contrastkit(pages):
    """A kernel of another Python has no contrastkit, or an old one."""
    until(pages.children, "a kernel")
    assert {each.cmdline()[0] for each in pages.children()} == {sys.executable}


# --- started and stopped ---


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_it_stops_and_leaves_nothing_behind(tmp_path, how):
    """Kernels would go on in the background, one more each time."""
    (tmp_path / "tmp").mkdir()
    with served("open", "plan", "--no-browser", folder=tmp_path, TMPDIR=str(tmp_path / "tmp")) as server:
        assert server.ask("/plan", **server.enter()).status == 200
        children = server.children()
        assert children
        assert server.stop(how) == (0, "")
    assert not any(each.is_running() for each in children)
    assert list((tmp_path / "tmp").glob("contrastkit-*")) == []


def test_it_stops_while_it_is_still_starting(tmp_path):
    """Whoever changes her mind at once would leave a kernel behind."""
    with served("open", "--no-browser", folder=tmp_path) as server:
        children = server.children()
        assert server.stop(signal.SIGINT)[0] == 0
    assert not any(each.is_running() for each in children)


def test_the_browser_gets_a_key_that_opens_once(tmp_path):
    """Any user of the computer can read with which words a program was started, that of a browser too."""
    script, note = tmp_path / "browser", tmp_path / "opened"
    script.write_text(f'#!/bin/sh\nprintf %s "$1" > {note}.part && mv {note}.part {note}\n')
    script.chmod(0o755)
    with served("open", "stack", folder=tmp_path, BROWSER=f"{script} %s") as server:
        address = until(lambda: note.exists() and note.read_text(), "the browser")
        assert address.startswith(f"{server.origin}/stack?token=") and server.token not in address
        path = address.removeprefix(server.origin)
        assert (server.ask(path).status, server.ask(path).status) == (302, 403)
        assert server.ask(f"/stack?token={server.token}").status == 302


def test_it_is_quiet(tmp_path):
    """What servers say of themselves frightens people who do not code."""
    with served("open", "plan", "--no-browser", folder=tmp_path) as server:
        server.ask("/nothing")
        server.ask("/plan", **server.enter())
        code, said = server.stop()
    assert (code, said) == (0, "")


def test_a_taken_port_is_said_in_words(pages, tmp_path):
    """The program would end in a traceback, or listen somewhere else than was asked."""
    for command in ("open", "lab"):
        done = subprocess.run(
            [sys.executable, "-m", "contrastkit", command, "--no-browser", "--port", str(pages.port)], timeout=60,
            capture_output=True, text=True, env=environment(tmp_path), cwd=tmp_path,
        )  # fmt: skip
        assert done.returncode == 2
        assert f"Port {pages.port} must be free; another program has it" in done.stderr
        assert "Traceback" not in done.stderr


def test_a_port_out_of_range_is_refused(capsys):
    """It would end in a traceback."""
    assert main(["open", "--no-browser", "--port", "70000"]) == 2
    assert "--port must be a whole number from 0 to 65535; got 70000" in capsys.readouterr().err


def test_a_slip_in_the_name_is_answered_with_the_nearest(capsys):
    """Somebody who does not code would have to read the manual for one letter."""
    assert main(["open", "sotr"]) == 2
    assert "got 'sotr'. Did you mean sort?" in capsys.readouterr().err
    assert main(["lab", "zzz"]) == 2
    assert f"A page must be one of {', '.join(serving.PAGES)}; got 'zzz'. Pick one" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["open", "lab"])
def test_what_is_no_catalogue_is_refused_before_anything_starts(command, tmp_path, capsys):
    """Every page would open with an error, and none say what to do."""
    (tmp_path / "table.csv").write_text("swatch_id,lightness\n")
    assert main([command, "--pile", str(tmp_path / "table.csv")]) == 2
    assert "--pile must name a catalogue" in capsys.readouterr().err


@pytest.mark.parametrize(("what", "missing"), [("pages", "voila"), ("JupyterLab", "jupyterlab")])
def test_a_missing_package_is_named_with_what_installs_it(what, missing, monkeypatch):
    """Somebody who installed the plain package would see a traceback."""
    monkeypatch.setattr(serving, "find_spec", lambda name: None if name == missing else True)
    said = rf"{missing} must be installed.*pip install 'contrastkit\[notebook\]'"
    with pytest.raises(MissingPackageError, match=said):
        serving.check_packages(what)


# --- where notebooks are, and copies of them ---


def test_notebooks_are_found_in_an_installed_package(tmp_path, monkeypatch):
    """From a wheel there is no checkout beside the package."""
    package = tmp_path / "site-packages" / "contrastkit"
    (package / "notebooks").mkdir(parents=True)
    monkeypatch.setattr(serving, "_PACKAGE", package)
    with pytest.raises(MissingPackageError, match="notebooks must be in the package or beside it"):
        serving.notebooks_folder()
    for name in serving.PAGES:
        (package / "notebooks" / f"{name}.ipynb").write_text("{}")
    assert serving.notebooks_folder() == package / "notebooks"


def test_a_copy_that_was_changed_is_never_written_over(tmp_path):
    """Her own words in a notebook would be gone with the next update; one she never touched would stay old."""
    originals, own = tmp_path / "originals", tmp_path / "own"
    originals.mkdir()
    for name in serving.PAGES:
        (originals / f"{name}.ipynb").write_text("first")
    serving.own_copies(originals, own)
    (own / "sort.ipynb").write_text("hers")
    (own / "plan.ipynb").unlink()
    for name in serving.PAGES:
        (originals / f"{name}.ipynb").write_text("second")
    serving.own_copies(originals, own)
    assert {path.stem: path.read_text() for path in own.glob("*.ipynb")} == {
        name: "hers" if name == "sort" else "second" for name in serving.PAGES
    }
    (own / ".copied.json").write_text("no JSON")
    (originals / "plan.ipynb").write_text("third")
    serving.own_copies(originals, own)
    assert (own / "plan.ipynb").read_text() == "second"  # whether it was changed is not known


def test_the_catalogue_named_in_the_environment_is_handed_on_whole(tmp_path, monkeypatch):
    """Kernels run in another folder, and would begin an empty catalogue there."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CONTRASTKIT_PILE", "own.sqlite")
    assert serving.kernel_environment(None) == {"CONTRASTKIT_PILE": str(tmp_path / "own.sqlite")}
    assert serving.kernel_environment("pile") == {"CONTRASTKIT_PILE": str(tmp_path / "own.sqlite")}
    monkeypatch.delenv("CONTRASTKIT_PILE")
    assert serving.kernel_environment(None) == {}
    with pytest.raises(InvalidInputError, match="--pile must name a catalogue"):
        serving.kernel_environment("words")


def test_a_kernel_installed_for_the_user_does_not_replace_ours(tmp_path, monkeypatch):
    """Many have a python3 kernel of another environment, in which there is no contrastkit."""
    from contrastkit.panels.kernels import OwnPython, PagePython

    other = tmp_path / "kernels" / "python3"
    other.mkdir(parents=True)
    (other / "kernel.json").write_text('{"argv": ["/elsewhere/python"], "display_name": "x", "language": "python"}')
    monkeypatch.setenv("JUPYTER_PATH", str(tmp_path))
    for kernels in (OwnPython(), PagePython()):
        assert kernels.get_kernel_spec("python3").argv[0] == sys.executable
        assert kernels.get_all_specs()["python3"]["spec"]["argv"][0] == sys.executable


# --- JupyterLab ---


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_jupyterlab_needs_the_key_and_leaves_nothing_behind(tmp_path, how):
    """Any other user of this computer could run programs as its owner; kernels would go on for ever."""
    pile = tmp_path / "own.sqlite"
    with served("lab", "sort", "--no-browser", "--pile", "own.sqlite", folder=tmp_path) as server:
        key = {"Authorization": f"token {server.token}"}
        assert server.ask("/api/contents").status == 403
        assert server.ask("/api/kernels", method="POST").status == 403
        assert server.ask("/lab/tree/sort.ipynb").status == 302  # to where the key is asked for
        listed = {each["name"] for each in json.loads(server.ask("/api/contents", **key).text)["content"]}
        assert {f"{name}.ipynb" for name in serving.PAGES} <= listed
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.2", server.port), timeout=5)

        assert server.ask("/api/kernels", method="POST", **key).status == 201
        children = until(server.children, "the kernel")
        [kernel] = [each for each in children if "ipykernel_launcher" in each.cmdline()]
        assert kernel.cmdline()[0] == sys.executable
        assert kernel.environ()["CONTRASTKIT_PILE"] == str(pile)
        assert server.stop(how) == (0, "")
    assert not any(each.is_running() for each in children)
