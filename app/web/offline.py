"""What a browser needs to go on while the connection is gone."""

from fastapi import Response

from app.shared.answers import Answer
from app.web.assets import contents
from app.web.desk import Visiting
from app.web.routing import page_router

router = page_router()


@router.get("/worker.js")
def serve_worker() -> Response:
    """Serve the service worker: it stands at the root, since it looks after what is below it."""
    headers = {
        "Cache-Control": "no-cache",
        # What it may fetch for the pages, whose own policies do not hold for it.
        "Content-Security-Policy": "default-src 'none'; connect-src 'self'",
    }
    return Response(contents()["worker.js"], media_type="text/javascript", headers=headers)


@router.get("/offline")
def show_offline(desk: Visiting) -> Response:
    """Say that there is no connection and what can be done without: kept for that moment."""
    return desk.show("offline.html")


@router.get("/whoami")
def tell_who(desk: Visiting) -> Response:
    """Tell a script who is signed in, and what the forms of that session carry."""
    answer = Answer({"who": desk.staff.name, "token": desk.visitor.form_token})
    answer.headers["Cache-Control"] = "no-store"
    return answer
