"""The page as an application: every address and what answers it, one piece of work at a time."""

from __future__ import annotations

import asyncio
import mimetypes
from collections.abc import AsyncIterator, Callable, Collection, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager, suppress
from dataclasses import replace
from functools import partial
from importlib import import_module
from pathlib import PurePosixPath
from typing import Any, Final, TypeVar

from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.intake.problems import SeasonFilesError
from slackwater.fitting.report.reasons import told as in_words
from slackwater.fitting.serving import rendering
from slackwater.fitting.serving.asked import (
    SQUAD,
    Answered,
    Ask,
    Elsewhere,
    File,
    Shown,
    filled,
    path_of,
    sent_again,
)
from slackwater.fitting.serving.door import Door, TooManyTriesError
from slackwater.fitting.serving.guard import (
    Guard,
    TooMuchError,
    broken,
    not_in,
    too_much,
    wait_a_while,
)
from slackwater.fitting.serving.phone import as_picture
from slackwater.fitting.serving.seasons import Seasons
from slackwater.fitting.serving.told import Done, Told
from slackwater.fitting.serving.uploads import Uploads
from slackwater.fitting.serving.work import Works
from slackwater.model.errors import NoAnswerError, SlackwaterError

View = Callable[[Ask], Answered]
Result = TypeVar("Result")

SHOWN: Final[Mapping[str, str]] = {
    "": "morning:show",
    "log": "log:show",
    "week": "log:show_week",
    "season": "season:show",
    "why": "season:show_night",
    "types": "types:show",
    "repeats": "types:show_repeats",
    "plan": "plan:show",
    "trial": "trial:show",
    "rest": "types:show_rest",
    "fit": "fit:show",
    "table": "bring:show_table",
    "beats": "bring:show_beats",
}
CHANGED: Final[Mapping[str, str]] = {
    "reading": "morning:log_reading",
    "event": "log:log_event",
    "week": "log:log_week",
    "undo": "entering:undo",
    "plan": "plan:make",
    "trial": "trial:plan",
    "register": "trial:register",
    "judge": "trial:judge",
    "give-up": "trial:give_up",
    "table": "bring:take_table",
    "beats": "bring:take_beats",
    "fit": "fit:start",
    "stop": "fit:stop",
    "confirm": "fit:confirm",
}
SLOW: Final = (
    "types:show_repeats",
    "plan:make",
    "bring:take_table",
    "bring:take_beats",
    "squad:show",
)  # seconds each, others are answered
IN_SQUAD: Final = {"fit": "squad:fit", "stop": "squad:stop"}
AT_THE_START: Final = {"begin": "start:begin", "demo": "start:look_at_the_demo"}
_VIEWS: Final = "slackwater.fitting.serving.views"
_PICTURES: Final = "slackwater.fitting.report.page.sections"
_FIELDS: Final = 500
_FILES: Final = 400


class Page:
    """What all requests share, and how one is answered."""

    def __init__(
        self, seasons: Seasons, door: Door, cookie: str, beyond: str | None = None
    ) -> None:
        """Take the seasons, and who came in.

        Args:
            seasons: what is shown.
            door: the secrets.
            cookie: the name of the visitors' cookie.
            beyond: what the page is reached by on the network; None where it is not.
        """
        self._beyond = beyond
        self.seasons, self.works = seasons, Works()
        self.told, self.uploads = Told(), Uploads()
        self._door, self._cookie = door, cookie
        # Answers, and pictures above all, are not made to be worked out several at a time.
        self._one, self._other = ThreadPoolExecutor(1), ThreadPoolExecutor(1)

    async def start(self, request: Request) -> Response:
        """Answer the first address."""
        return await self._answer(request, "start:show")

    async def show(self, request: Request) -> Response:
        """Answer with a view of a season."""
        name = request.path_params.get("view", "")
        view = SHOWN.get(name)
        if view is None and name in CHANGED:  # a change, asked for again
            return RedirectResponse(path_of(request.path_params["season"]), 303)
        return await self._answer(request, view)

    async def change(self, request: Request) -> Response:
        """Answer with what a change did."""
        return await self._answer(request, CHANGED.get(request.path_params["view"]))

    async def begin(self, request: Request) -> Response:
        """Answer with what a change of the seasons did."""
        return await self._answer(request, AT_THE_START.get(request.path_params["what"]))

    async def squad(self, request: Request) -> Response:
        """Answer with what all seasons show together."""
        return await self._answer(request, "squad:show")

    async def change_squad(self, request: Request) -> Response:
        """Answer with what a change of all seasons did."""
        return await self._answer(request, IN_SQUAD.get(request.path_params["what"]))

    async def enter(self, request: Request) -> Response:
        """Let in who has the opening link."""
        return self._let_in(self._door.enter(request.path_params["secret"]))

    async def enter_by_code(self, request: Request) -> Response:
        """Let in who has a one-time code."""
        try:
            return self._let_in(self._door.enter_by_code(request.path_params["code"]))
        except TooManyTriesError as error:
            return wait_a_while(error.seconds)

    async def phone(self, request: Request) -> Response:
        """Show how a phone comes in, and a code once it is asked for."""
        if self._beyond is None:
            return await self._in_frame(request, _refused(_NOT_ON_NETWORK, 404, {}), "")
        link = picture = ""
        if request.method == "POST":
            if (await request.form()).get("token") != request.scope["token"]:
                return await self._in_frame(request, _refused(_NO_TOKEN, 403, {}), "")
            link = f"http://{self._beyond}/code/{self._door.new_code()}"
            picture = as_picture(link)
        facts = {"link": link, "picture": picture, "beyond": self._beyond}
        return await self._in_frame(request, Shown("phone", "From a phone", facts), "")

    async def static(self, request: Request) -> Response:
        """Answer with a style sheet or a script."""
        name = PurePosixPath(request.path_params["name"]).name
        with suppress(OSError, ValueError):
            kind = mimetypes.guess_type(name)[0]
            return Response(rendering.static(name), media_type=kind)
        return Response("There is no such file.", 404)

    def _let_in(self, cookie: str | None) -> Response:
        if cookie is None:
            return not_in()
        response = RedirectResponse("/", 303)
        response.set_cookie(self._cookie, cookie, httponly=True, samesite="strict", path="/")
        return response

    async def _answer(self, request: Request, view: str | None) -> Response:
        form: dict[str, list[str]] = {}
        files: dict[str, list[tuple[str, bytes]]] = {}
        if request.method == "POST":
            async with request.form(max_fields=_FIELDS, max_files=_FILES) as given:
                form, files = await filled(given)
            if form.get("token") != [request.scope["token"]]:
                return await self._in_frame(request, _refused(_NO_TOKEN, 403, {}), "")
        named = request.path_params.get("season", "")

        query = dict(request.query_params)

        def answered() -> Answered | Ask:
            found = self.seasons.find(named) if named else None
            if view is None or (named and found is None):
                return _refused(_NOT_THERE, 404, form)
            shared = self.seasons, self.works, self.told, self.uploads
            ask = Ask(*shared, query, form, files, named, found)
            if found is not None and self.seasons.gone(named):
                return _refused(_GONE.format(folder=found.path), 410, form)
            return ask if view in SLOW else _safely(_view(view), ask)

        answer = await self._alone(answered)
        if isinstance(answer, Ask):
            answer = await self._beside(_view(view or ""), answer)
        if isinstance(answer, File):
            kept = f'attachment; filename="{answer.name}"'
            return Response(
                answer.content, media_type=answer.kind, headers={"content-disposition": kept}
            )
        if isinstance(answer, Elsewhere):
            return RedirectResponse(self._with_lines(answer), 303)
        response = await self._in_frame(request, answer, named)
        if named:  # what is asked for next was answered by now
            response.background = BackgroundTask(self._make_ready, named)
        return response

    async def warm_up(self) -> None:
        """Work out what the first view shows before it is asked for."""
        for name in self.seasons.names[:1]:
            await self._alone(partial(self._foresee, name))

    async def _make_ready(self, named: str) -> None:
        """Work out what the next reading is held against, and load what draws pictures."""
        await self._alone(partial(self._foresee, named))
        await self._alone(partial(import_module, _PICTURES))

    def _foresee(self, named: str) -> None:
        found = self.seasons.find(named)
        if found is not None:
            found.foresee()

    async def _beside(self, view: View, ask: Ask) -> Answered:
        """Return what a slow view answers, from an object of its own for the season's folder."""

        def work() -> Answered:
            if ask.found is None:
                return _safely(view, ask)
            own = SeasonFolder(ask.season.path)
            own.told = ask.season.told
            return _safely(view, replace(ask, found=own))

        return await asyncio.get_running_loop().run_in_executor(self._other, work)

    async def _alone(self, work: Callable[[], Result]) -> Result:
        return await asyncio.get_running_loop().run_in_executor(self._one, work)

    def _with_lines(self, answer: Elsewhere) -> str:
        if not answer.lines:
            return answer.path
        number = self.told.keep(Done(answer.lines, answer.undoes))
        return f"{answer.path}{'&' if '?' in answer.path else '?'}done={number}"

    async def _in_frame(self, request: Request, shown: Shown, named: str) -> Response:
        frame = rendering.Frame(
            named,
            request.path_params.get("view", ""),
            self.seasons.names,
            request.url.path,
            request.scope["token"] or "",
            self.told.of(request.query_params.get("done", "")),
            self._beyond is not None,
        )
        content = await run_in_threadpool(rendering.rendered, shown, frame)
        return Response(content, shown.status, media_type="text/html")


_NOT_ON_NETWORK: Final = (
    "The page is on this machine alone. End it, and open it again with --on-network to let a phone "
    "in."
)
_NO_TOKEN: Final = (
    "This form is not of the page as it was opened last, so nothing was written. Go back, load the "
    "view anew, and enter it again."
)
_NOT_THERE: Final = "There is no such view, or no season of that name."
_GONE: Final = (
    "{folder} is not there any more, so nothing can be shown of it and nothing was written. Put "
    "the folder back in its place, then try again."
)


def _view(place: str) -> View:
    """Return a view by its module and its name; loaded when it is first asked for."""
    module, name = place.split(":")
    found: View = getattr(import_module(f"{_VIEWS}.{module}"), name)
    return found


def _safely(view: View, ask: Ask) -> Answered:
    """Return what a view answers, or in words why it does not."""
    try:
        return view(ask)
    except NoAnswerError as error:
        return _unanswered(in_words(error), ask.form)
    except SeasonFilesError as error:
        return _unanswered("The season's files need mending first.", ask.form, error.problems)
    except SlackwaterError as error:
        return _refused(str(error), 422, ask.form)
    except OSError as error:
        return _refused(f"{error.filename or 'file'}: {error.strerror or error}", 500, ask.form)


def _unanswered(why: str, form: Mapping[str, list[str]], problems: Collection[Any] = ()) -> Shown:
    """Return the page of a view that has no answer, or of a change that was refused."""
    if form:
        return _refused(why, 409, form, problems)
    return replace(_refused(why, 200, form, problems), title="No answer to that yet")


def _refused(
    why: str, status: int, form: Mapping[str, list[str]], problems: Collection[Any] = ()
) -> Shown:
    facts = {
        "why": why,
        "kept": sent_again(form),
        "problems": [str(problem) for problem in problems],
    }
    return Shown("refused", "That did not work", facts, status)


def application(
    seasons: Seasons,
    door: Door,
    hosts: Collection[str],
    cookie: str = "slackwater",
    beyond: str | None = None,
) -> ASGIApp:
    """Return the page.

    Args:
        seasons: what it shows.
        door: who is let in.
        hosts: what it is reached by, as `host:port`.
        cookie: the name of the visitors' cookie.
        beyond: what it is reached by on the network; None where it is not.
    """
    page = Page(seasons, door, cookie, beyond)

    async def much(request: Request, error: Exception) -> Response:
        return too_much()

    async def failed(request: Request, error: Exception) -> Response:
        return broken()

    @asynccontextmanager
    async def running(app: Starlette) -> AsyncIterator[None]:
        warming = asyncio.create_task(page.warm_up())
        yield
        warming.cancel()
        page.works.stop_all()

    routes = [
        Route("/", page.start),
        Route("/in/{secret}", page.enter),
        Route("/code/{code}", page.enter_by_code),
        Route("/phone", page.phone, methods=["GET", "POST"]),
        Route("/start/{what}", page.begin, methods=["POST"]),
        Route("/static/{name}", page.static),
        Route(SQUAD, page.squad),
        Route(SQUAD + "/{what}", page.change_squad, methods=["POST"]),
        Route("/s/{season}/", page.show),
        Route("/s/{season}/{view}", page.show),
        Route("/s/{season}/{view}", page.change, methods=["POST"]),
    ]
    handlers: dict[Any, Any] = {TooMuchError: much, Exception: failed}
    inside = Starlette(routes=routes, exception_handlers=handlers, lifespan=running)
    return Guard(inside, door, [*hosts, *([beyond] if beyond else [])], cookie)
