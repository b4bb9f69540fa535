"""Every kind of refusal, with its place in HTTP and what whoever is refused should know."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Kind:
    """A kind of refusal: its status, its short title, and what a reader should know and do."""

    status: int
    title: str
    meaning: str


KINDS: Final[Mapping[str, Kind]] = {
    "already-done": Kind(
        409, "That is done already",
        "The book already says so; nothing was booked a second time."),
    "ambiguous-code": Kind(
        409, "Two things carry that code",
        "A unit and a location carry the same code. Say which is meant with `subject_kind`."),
    "backup-not-made": Kind(
        409, "The backup was not made",
        "No file appeared, and the book is as it was. The detail says why: put that right and make "
        "it again, or make it by the command `jutebook backup`."),
    "bad-request": Kind(
        400, "The request cannot be read",
        "The request itself is malformed: its headers, its cursor or its encoding."),
    "batch-state": Kind(
        409, "The batch has ended",
        "A planned batch is roasted once or cancelled. Voiding the roast opens it again; plan "
        "another one where more is to be roasted."),
    "busy": Kind(
        503, "The book is busy or out of reach",
        "Try again after the seconds that `Retry-After` names, with the same `Idempotency-Key`: "
        "so it is booked once, whatever came of it before."),
    "case-state": Kind(
        409, "The case does not stand here by itself",
        "A case is packed, taken apart and sent while it stands here by itself. Take it off its "
        "pallet first; one that was sent or taken apart stays what it was."),
    "code-taken": Kind(
        409, "That code is taken",
        "Lots, sacks, roasts, blends, packs, dispatches and returns share one list of codes, "
        "whatever their capitals. Places, machines and products have lists of their own."),
    "count-outdated": Kind(
        409, "Counted against a book that was corrected since",
        "After a sack was counted another count of it was booked, or something that had happened "
        "before was booked or voided. Booking the variance too would correct twice: reject the "
        "count and count those sacks again."),
    "count-state": Kind(
        409, "The count is not at that step",
        "A count is open, then closed, then approved or rejected. While it is open nobody sees a "
        "mass; once it is closed nobody adds a line."),
    "crates-short": Kind(
        409, "Not that many crates there",
        "No more crates go out than are in the house, and no more come back than are out. Count "
        "them, and book the count with its reason."),
    "does-not-reconcile": Kind(
        409, "The sacks do not add up",
        "A receipt is closed when the newest count of each of its lots accounts for every sack "
        "that was invoiced and booked. Count again, and say what is missing or over."),
    "drill": Kind(
        409, "A drill tells nobody",
        "A drill is a recall rehearsed: no notice is sent and nobody reports. It ends when it is "
        "completed. Open a recall case where coffee really has to come back."),
    "emptied-beyond-tolerance": Kind(
        409, "The sack held more or less than the scale says",
        "A sack that was used up may differ from the book within a setting (2 % of its net weight "
        "unless the roastery decided otherwise). Weigh again; if the figures stand, book the "
        "difference as an adjustment with its reason first."),
    "forbidden": Kind(
        403, "Not yours to do",
        "You are known, and your roles do not include the permission that the detail names."),
    "form-outdated": Kind(
        409, "The form is of an earlier sign-in",
        "Whoever sent the form signed in again after it was opened. Nothing was booked; open it "
        "again and send it."),
    "has-dependants": Kind(
        409, "Something was made from it",
        "An entry can be voided while nothing was made from its coffee. "
        "Void what the detail names first, the newest first; or look at "
        "`GET /units/{code}/impact` and void all that it lists together, by `with`."),
    "idempotency-key-reused": Kind(
        422, "That key was used for another request",
        "An `Idempotency-Key` belongs to one request for good. Use a new one for a new request."),
    "implausible-loss": Kind(
        422, "No roast loses that little, or that much",
        "The charge or the end weight is probably a slip of the scale or the keyboard. Weigh again "
        "and send the right figure. If the figures stand, say `end_confirmed`, or send the loss "
        "that was expected as `loss_range_pct`; then the roast is judged as any other."),
    "insufficient-stock": Kind(
        409, "Not that much there",
        "The unit holds less than was asked for. Nothing was booked. "
        "Weigh what is there and ask for that, or take the rest from another unit."),
    "internal": Kind(
        500, "Something broke on our side",
        "Nothing was booked. Tell the people who run this service when it happened, and the number "
        "of the request: the log says more under it."),
    "invalid": Kind(
        422, "The request was understood and is not right",
        "Each member of `errors` points at one field and says what is wrong with it. "
        "Nothing was stored."),
    "malformed-gs1": Kind(
        422, "Not what GS1 lets a barcode say",
        "The text claims to be a barcode or a link of GS1 and breaks a rule of it: `rule` names "
        "the rule and `ai` the application identifier at fault. Scan it again; if it stays so, the "
        "label itself is wrong: tell whoever printed it."),
    "mark-taken": Kind(
        409, "That mark is in the book for that coffee year",
        "An ICO mark names one shipment in a coffee year. If this lot is a further parcel of it, "
        "name a lot of it as `same_shipment_as`; if it was shipped in another coffee year, say "
        "`shipped_on` or `coffee_year`; else look at the sack again."),
    "mass-gained": Kind(
        422, "More came out than went in",
        "Roasting loses mass, blending and packing keep it; nothing gains any. "
        "Check the scale and the figures."),
    "mixed": Kind(
        409, "It has mixed",
        "Coffee in a silo, a hopper or a tray cannot be told apart any more. Name the place "
        "instead of the unit: some of everything in it is drawn. What is moved away is all of it."),
    "method-not-allowed": Kind(
        405, "That cannot be done there", "The path exists and does not take this method."),
    "misread-code": Kind(
        404, "That code was misread",
        "The code has the form of the codes this book issues, and its check character does not "
        "fit: a character is wrong or two were swapped. Scan or type it again."),
    "more-than-sent": Kind(
        409, "More bags than went there",
        "A consignee reports more bags than it was sent. Ask again, or look whether a dispatch "
        "was not booked."),
    "name-taken": Kind(
        409, "That name is taken",
        "Another one carries this name, however its capitals, spaces and accents were typed."),
    "not-empty": Kind(
        409, "Something stood in it",
        "A place is cleaned when it is empty. Draw or move what is in it first, or say with "
        "`cleaned_at` when it was."),
    "not-found": Kind(404, "Not there", "Nothing is known under that path, code or name."),
    "not-free": Kind(
        409, "Those bags are not free",
        "The bags are there, and stand in cases or are kept for a pick. Send the case whole or "
        "take it apart first; name the pick, cancel it, or take other bags."),
    "not-released": Kind(
        409, "Set aside: not released",
        "The roast missed a check and has not been released by tasting, or was rejected or "
        "scrapped. A quality role tastes what was set aside and records a cupping."),
    "not-set-aside": Kind(
        409, "The verdict cannot change any more",
        "A rejected roast is not used any more: it can only be scrapped. A scrapped one is gone. "
        "Once some of a roast was used, a tasting can narrow what the rest is for, not widen it."),
    "not-voidable": Kind(
        409, "That cannot be voided",
        "A roast, blend, pack, dispatch, return or an untouched lot can be voided, once. "
        "A single sack that was counted wrongly is corrected by an adjustment. An adjustment that "
        "another act booked goes with that act, and so does the colour that came with a roast."),
    "off-recipe": Kind(
        409, "Not what the recipe says",
        "The shares of a blend are further from those of its recipe than its tolerance. Weigh "
        "again, or let a quality role book it with `off_recipe_reason`."),
    "on-hold": Kind(
        409, "On hold",
        "The unit, or the lot it came from, is on hold. A quality role decides and releases it."),
    "order-state": Kind(
        409, "The order has ended",
        "An order is open until every bag went out or it is cancelled; after that it stays as it "
        "is. Enter another order for what is still wanted."),
    "over-capacity": Kind(
        409, "More than it takes",
        "The charge is heavier than the machine's stated capacity: split it. Or a place, or one it "
        "is part of, would carry more than it takes: choose another one or move something away."),
    "own-count": Kind(
        409, "Somebody else approves it",
        "Whoever opened a count or counted for it does not book what it found: another person "
        "with the permission does."),
    "own-drill": Kind(
        409, "Somebody else signs it off",
        "Whoever opened or completed a drill does not sign it off: another person with the "
        "permission does."),
    "place-in-use": Kind(
        409, "Coffee stood there",
        "What a place is part of can be changed until coffee stands at it or below it. After that "
        "it stays, so that a question about the past keeps one answer: enter a new place and move "
        "what is there."),
    "precondition-failed": Kind(
        412, "Somebody changed it meanwhile",
        "The `If-Match` you sent is not the current `ETag`. Read it again, then decide."),
    "precondition-required": Kind(
        428, "Say which version you change",
        "Send the `ETag` you read as `If-Match`, so that nobody's change is lost."),
    "reaches-too-far": Kind(
        422, "More than one request may reach",
        "A part of a trace or of the scope of a recall would look like all of it, so nothing was "
        "answered or stored. Ask for fewer starts, a shorter time or fewer `hops`. Whoever runs "
        "the service can allow more by `JUTEBOOK_TRACE_MOST_UNITS`; the command `jutebook trace` "
        "has no such limit."),
    "recall-state": Kind(
        409, "The case is not at that step",
        "A case is opened, scoped, stopped, worked off and closed. Freeze its scope first, stop "
        "what is in the house, then tell consignees; a closed case is reopened first."),
    "request-in-flight": Kind(
        409, "The same request is being worked on",
        "A request with this `Idempotency-Key` has not been answered yet. "
        "Try again in a second: the answer will be there."),
    "tasting-limits-use": Kind(
        409, "For less than that, by its tasting",
        "A tasting decided that the roast goes into blends alone: with `blend_in` up to a share of "
        "each, with `rework` as the rework of a recipe. The detail says which. Take less of it, "
        "name a recipe that takes rework, or have it tasted again."),
    "too-large": Kind(
        413, "Too large", "The body or the answer is too large: send or ask for less at a time."),
    "too-many-guesses": Kind(
        429, "Too many wrong passwords",
        "No password is looked at for a while. Wait, or ask an administrator for another one: "
        "`jutebook users password NAME`."),
    "too-many-requests": Kind(
        429, "Too many requests",
        "More came than is answered within a minute. Nothing was booked. Try again after the "
        "seconds that `Retry-After` names, with the same `Idempotency-Key`."),
    "too-slow": Kind(
        408, "The request took too long to come",
        "The body was not here in time; nothing was booked. Send it again, over a better line."),
    "unauthorized": Kind(
        401, "Who are you?",
        "Send `Authorization: Bearer <token>`. An administrator makes tokens with "
        "`jutebook tokens add`."),
    "unknown-code": Kind(
        404, "No such code",
        "Nothing carries that code. Its check character fits or it is not one of ours, "
        "so it was probably read right and never booked."),
    "unknown-reference": Kind(
        422, "Something named there is not known",
        "The request names a supplier, customer, place, machine or product that is not known. "
        "Enter it first."),
    "unsupported-media-type": Kind(
        415, "Not a kind of body that is read there",
        "Send `application/json`; where a photo is sent, the picture itself as JPEG, PNG or WebP."),
    "voided": Kind(
        409, "That was voided",
        "A correcting entry says that the unit never was. Where another one was booked in its "
        "place, `replaced_by` names it."),
    "wrong-kind": Kind(
        409, "That is another kind of thing",
        "The code exists and names something this act does not take; the detail says what it is "
        "and what was wanted."),
    "wrong-machine": Kind(
        409, "That machine does other work",
        "A roast needs a roaster, a blend a blender, a pack a packing line."),
}  # fmt: skip
