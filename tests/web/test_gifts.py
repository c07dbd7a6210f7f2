"""Gifts, acted out by a visitor, a helper and the librarian; interviews with their release; the rules by hand."""

from datetime import date, timedelta

import pytest

from takeup.lab.forgetting import forget
from takeup.lab.gifts import gifts_of
from takeup.lab.port import one, rows
from takeup.lab.schema import ASKED, GIFT
from takeup.lab.wordings import keep_wording
from takeup.plan.gift_rules import Offered, State, objections, wanting
from takeup.plan.quick_lines import read_line
from takeup.settings import Settings
from takeup.tables.loader import load_rows
from takeup.tasks.box_items import enter
from takeup.tasks.interviews import interviews
from takeup.words.sentences import LANGUAGES, say

TODAY = date(2027, 3, 2)
ANSWERS = {
    "share-k1": "library", "rights": "mine", "people": "Aunt Wen, Uncle Bo", "people_agree": "agree", "minors": "none",
    "published": "no", "release": "yes", "named": "The Tan family",
}  # fmt: skip


def offered(**changed):
    said = {
        "shares": {"k1": "library", "p1": "us"}, "rights": "mine", "people": "Aunt Wen", "people_agree": "agree",
        "minors": "none", "published": "no", "embargo_until": "", "released": True,
    }  # fmt: skip
    return Offered(**(said | changed))


def keys(found):
    return [(one_.key, one_.weight) for one_ in found]


DONE = [State(item="k1", captured=True, finished=True, described=True), State(item="p1")]


# --- the rules -------------------------------------------------------------------------------------------------------
def test_nothing_speaks_against_a_gift_that_is_as_it_should_be():
    assert wanting(offered(), TODAY) == [] and objections(offered(), DONE, "", TODAY) == []


@pytest.mark.parametrize(
    ("changed", "stand", "found"),
    [
        ({"rights": "other"}, "stop", ("rights-other", "stop")),
        ({"rights": "unknown"}, "stop", ("rights-unknown", "stop")),
        ({"rights": "family"}, "look", ("rights-family", "look")),
        ({"people_agree": "some"}, "", ("people-some", "stop")),
        ({"people_agree": "not-asked"}, "", ("people-not-asked", "stop")),
        ({"people": " "}, "", ("people-unnamed", "look")),
        ({"minors": "not-asked"}, "", ("minors", "stop")),
        ({"published": "yes"}, "", ("published", "stop")),
        ({"published": "unknown"}, "", ("published-unknown", "look")),
        ({"embargo_until": "2027-03-02"}, "", ("embargo-past", "look")),
        ({"released": False}, "", ("release", "stop")),
        ({"interviews": {"k1": False}}, "", ("interview", "stop")),
    ],
)
def test_what_speaks_against_a_gift(changed, stand, found):
    assert keys(objections(offered(**changed), DONE, stand, TODAY)) == [found]


def test_how_the_items_stand_speaks_against_it_and_the_weighty_comes_first():
    gift = offered(shares={"k1": "library", "v1": "library", "x9": "library", "p1": "library"})
    states = [State(item="k1", captured=True), State(item="v1", commercial=True),
              State(item="p1", captured=True, finished=True, described=True)]  # fmt: skip
    found = objections(gift, states, "", TODAY)
    assert keys(found) == [
        ("gone", "stop"), ("commercial", "stop"), ("not-captured", "look"), ("not-finished", "look"),
        ("not-described", "look"),
    ]  # fmt: skip
    assert [one_.facts["items"] for one_ in found] == ["x9", "v1", "v1", "k1", "k1"]


@pytest.mark.parametrize(
    ("changed", "missing"),
    [
        ({"shares": {"k1": "family"}}, ["items"]),
        ({"rights": ""}, ["rights"]),
        ({"people_agree": "x"}, ["people"]),
        ({"minors": ""}, ["minors"]),
        ({"published": ""}, ["published"]),
        ({"embargo_until": "soon"}, ["embargo"]),
        ({"embargo_until": "2027-03-02"}, ["embargo-past"]),
        ({"embargo_until": "2207-03-02"}, ["embargo-long"]),
        ({"embargo_until": "2027-03-03"}, []),
        ({"released": False}, ["release"]),
    ],
)
def test_what_is_wanting_before_a_gift_can_be_offered(changed, missing):
    assert wanting(offered(**changed), TODAY) == missing


def test_every_answer_and_objection_is_worded_and_every_right_has_its_statement():
    rows_ = load_rows()
    for right in rows_.names("rights"):
        assert rows_.value(f"rights.{right}.uri").startswith("http://rightsstatements.org/vocab/")
        for lang in LANGUAGES:
            assert say("gift", f"rights.{right}", lang)
            if rows_.value(f"rights.{right}.stands"):
                assert say("gift", f"against.rights-{right}", lang)


# --- acted out -------------------------------------------------------------------------------------------------------
def gift_url(box):
    return f"/boxes/{box['number']}/gift"


def form_of(person, box):
    return person.fields(gift_url(box), gift_url(box))[1]


def all_gifts(desk, box):
    with desk.lab.reading() as db:
        return gifts_of(db, box["id"])


def offer(person, box, **changed):
    return person.client.post(gift_url(box), data=form_of(person, box) | ANSWERS | changed)


def test_a_visitor_offers_the_librarian_accepts_and_takes_down_when_asked(tan, maren, ola, desk, box):
    page = tan.look(gift_url(box)).text
    assert "Only us" in page and "The words of the gift" in page
    assert offer(tan, box, **{"share-p1": "family"}).status_code == 303
    [gift] = all_gifts(desk, box)
    assert gift["items"] == {"k1": "library", "p1": "family", "v1": "us"} and gift["state"] == "offered"
    assert gift["release"] == "gift-0" and gift["facts"]["rights_uri"].endswith("/InC/1.0/")
    assert "Thank you" in tan.look(gift_url(box)).text
    # staff see it wait, with what speaks against it; only the librarian decides
    assert "waits for a decision" in ola.look("/gifts").text
    review = f"/gifts/{gift['id']}"
    assert "Not captured yet: k1." in ola.look(review).text and "The librarian decides." in ola.look(review).text
    posted = form_of(ola, box) | {"state": "accepted"}
    assert ola.client.post(review, data=posted).status_code == 403
    assert maren.send(review, review, state="accepted", follow=False).status_code == 303
    with desk.lab.reading() as db:
        asked = one(db, ASKED, ASKED.c.kind == "gift", ASKED.c.key == f"gift-{gift['id']}")
    assert asked["answer"] == "done" and asked["who"] == "Maren"
    page = tan.look(gift_url(box)).text
    assert "The library keeps a copy" in page and "made in a later step" in page and "given already" in page
    # the donor asks that it be taken down; it is, with a reason; all of it stays with the gift
    tan.send(gift_url(box), gift_url(box) + "/back", why="my brother minds")
    assert "to be taken down" in maren.look("/gifts").text and "my brother minds" in maren.look(review).text
    assert maren.send(review, review, state="taken-down", why="").status_code == 400
    maren.send(review, review, state="taken-down", why="as the donor asked")
    [gift] = all_gifts(desk, box)
    assert [line["what"] for line in gift["facts"]["history"]] == ["offered", "accepted", "down-asked", "taken-down"]
    assert [line["who"] for line in gift["facts"]["history"]] == ["visitor", "Maren", "visitor", "Maren"]


def test_declining_wants_a_reason_and_the_donor_reads_it(tan, maren, desk, box):
    offer(tan, box, rights="other")
    review = f"/gifts/{all_gifts(desk, box)[0]['id']}"
    assert "somebody else" in maren.look(review).text.lower()
    answer = maren.send(review, review, state="declined", why=" ")
    assert answer.status_code == 400 and "Please write the reason" in answer.text
    assert maren.send(review, review, state="accepted", why="").status_code == 400
    assert maren.send(review, review, state="sold", why="x").status_code == 400
    maren.send(review, review, state="declined", why="The station holds the rights.")
    assert "The station holds the rights." in tan.look(gift_url(box)).text
    # decided: another may be offered
    assert offer(tan, box).status_code == 303
    assert [gift["state"] for gift in all_gifts(desk, box)] == ["offered", "declined"]


def test_two_people_on_the_same_gift(tan, maren, desk, box, somebody):
    offer(tan, box)
    gift = all_gifts(desk, box)[0]
    review = f"/gifts/{gift['id']}"
    shown_to_maren = maren.fields(review, review)[1]
    changing = form_of(tan, box)
    assert tan.client.post(gift_url(box), data=changing | ANSWERS | {"people": "Aunt Wen only"}).status_code == 303
    answer = maren.client.post(review, data=shown_to_maren | {"state": "accepted", "why": "I like it"})
    assert answer.status_code == 409 and "I like it" in answer.text and "Aunt Wen only" in answer.text
    stale = form_of(tan, box)
    maren.send(review, review, state="accepted", why="fine")
    answer = tan.client.post(gift_url(box), data=stale | ANSWERS | {"people": "typed meanwhile"})
    assert answer.status_code == 409 and "typed meanwhile" in answer.text
    assert [one_["state"] for one_ in all_gifts(desk, box)] == ["accepted"]


def test_two_first_offers_of_one_box_make_one_gift(tan, maren, desk, box):
    first, second = form_of(tan, box), form_of(maren, box)
    assert tan.client.post(gift_url(box), data=first | ANSWERS).status_code == 303
    assert maren.client.post(gift_url(box), data=second | ANSWERS).status_code == 409
    assert tan.client.post(gift_url(box), data=first | ANSWERS).status_code == 303  # a second click of the same form
    assert len(all_gifts(desk, box)) == 1


def test_a_gift_not_decided_is_taken_back(tan, desk, box):
    offer(tan, box)
    tan.send(gift_url(box), gift_url(box) + "/back")
    assert all_gifts(desk, box)[0]["state"] == "withdrawn"
    with desk.lab.reading() as db:
        assert [row["answer"] for row in rows(db, ASKED, ASKED.c.kind == "gift")] == ["done"]


@pytest.mark.parametrize(
    "changed",
    [
        {"share-k1": "us"}, {"share-k1": "the moon"}, {"rights": ""}, {"rights": "../../etc"}, {"people_agree": "<b>"},
        {"minors": ""}, {"published": "maybe"}, {"embargo_until": "yesterday"}, {"embargo_until": "2001-01-01"},
        {"embargo_until": "\u202e9999-99-99"}, {"release": ""}, {"people": "x" * 5000}, {"edition": "gift-99"},
        {"gift": "zero"}, {"maker": "a\tb\n" * 900},
    ],
)  # fmt: skip
def test_a_form_that_cannot_be_taken_is_told_and_what_was_typed_stays(tan, desk, box, changed):
    answer = offer(tan, box, **({"named": "Zoë 😀 <i>"} | changed))
    assert answer.status_code == 400 and "Zoë 😀 &lt;i&gt;" in answer.text
    assert all_gifts(desk, box) == []


def test_an_embargo_ahead_is_kept(tan, desk, box):
    until = (date.today() + timedelta(days=400)).isoformat()
    assert offer(tan, box, embargo_until=until).status_code == 303
    assert all_gifts(desk, box)[0]["embargo_until"] == until


def test_a_new_edition_of_the_words_is_what_is_signed(tan, desk, box):
    with desk.lab.writing() as db:
        keep_wording(db, "gift", "en", "Given with thanks.\n\nIn {braces}.", after=0, who="Maren")
    assert "Given with thanks." in tan.look(gift_url(box)).text
    offer(tan, box)
    assert all_gifts(desk, box)[0]["release"] == "gift-1"


def test_another_boxs_gift_is_nobodys_business(tan, maren, desk, box, somebody):
    offer(tan, box)
    number = all_gifts(desk, box)[0]["id"]
    assert tan.client.get("/gifts").status_code in (303, 403)
    assert tan.client.get(f"/gifts/{number}").status_code in (303, 403)
    assert somebody().client.get(gift_url(box)).status_code in (303, 403)
    for wrong in ("999", "-1", "abc", "٣", "1e3", "9" * 30):
        assert maren.look(f"/gifts/{wrong}").status_code == 404
    fields = tan.fields(gift_url(box), gift_url(box) + "/back")[1]
    assert tan.client.post(gift_url(box) + "/back", data=fields | {"gift": "999"}).status_code == 404
    with desk.lab.reading() as db:
        assert one(db, GIFT, GIFT.c.id == number)["state"] == "offered"


def test_the_pages_speak_chinese(tan, maren, desk, box):
    offer(tan, box)
    number = all_gifts(desk, box)[0]["id"]
    for person, url, words in (
        (tan, gift_url(box), "捐赠书"), (maren, "/gifts", "等待决定"), (maren, f"/gifts/{number}", "还没有采集"),
        (maren, f"/boxes/{box['number']}/interview", "访谈"),
    ):  # fmt: skip
        assert words in person.look(f"{url}?lang=zh-Hans").text


def test_a_gift_that_was_not_taken_names_nobody_once_its_donor_is_forgotten(tan, maren, desk, box):
    offer(tan, box)
    review = f"/gifts/{all_gifts(desk, box)[0]['id']}"
    maren.send(review, review, state="declined", why="Aunt Wen minds.")
    offer(tan, box)
    with desk.lab.writing() as db:
        forget(db, box["person_id"])
    assert [(one_["state"], one_["people"], one_["why"]) for one_ in all_gifts(desk, box)] == [
        ("withdrawn", "", ""), ("declined", "", ""),
    ]  # fmt: skip
    assert "Wen" not in str(all_gifts(desk, box)) and "Tan family" not in str(all_gifts(desk, box))


def test_what_the_library_took_stays_with_what_was_signed(tan, maren, desk, box):
    offer(tan, box)
    review = f"/gifts/{all_gifts(desk, box)[0]['id']}"
    maren.send(review, review, state="accepted", why="")
    with desk.lab.writing() as db:
        forget(db, box["person_id"])
    [gift] = all_gifts(desk, box)
    assert (gift["state"], gift["people"], gift["release"]) == ("accepted", "Aunt Wen, Uncle Bo", "gift-0")


# --- interviews ------------------------------------------------------------------------------------------------------
TOLD = {
    "title": "How the harbour froze", "language": "English", "place": "the lab", "date": "2027-03-02",
    "interviewer": "Maren", "speaker-1": "Old Tan", "signed-1": "yes", "levels": "yes", "silence": "yes",
}  # fmt: skip


def interview_url(box):
    return f"/boxes/{box['number']}/interview"


def known(box):
    return interviews(box["path"], Settings())


def test_an_interview_becomes_an_item_and_is_changed_later(maren, ola, tan, desk, box):
    url = interview_url(box)
    assert tan.client.get(url).status_code in (303, 403)
    assert maren.send(url, url, follow=False, **TOLD, **{"speaker-2": "Ida; Tan"}).status_code == 303
    assert list(known(box)) == ["i1"]
    told = known(box)["i1"]
    assert [(one_["name"], one_["signed"]) for one_ in told["speakers"]] == [("Old Tan", "release-0"), ("Ida, Tan", "")]
    page = maren.look(url).text
    assert "has not signed yet" in page and "It is recorded there now" in page
    assert "How the harbour froze" in maren.look(f"/boxes/{box['number']}").text
    # two people on the same one
    mine = maren.fields(f"{url}?item=i1", url)[1]
    assert ola.send(f"{url}?item=i1", url, **{"signed-2": "yes"}).status_code == 200
    answer = maren.client.post(url, data=mine | {"title": "typed meanwhile"})
    assert answer.status_code == 409 and "typed meanwhile" in answer.text
    assert known(box)["i1"]["title"] == "How the harbour froze"
    assert all(one_["signed"] == "release-0" for one_ in known(box)["i1"]["speakers"])


def test_a_signature_stays_that_of_the_words_that_were_signed(maren, desk, box):
    url = interview_url(box)
    maren.send(url, url, **TOLD)
    with desk.lab.writing() as db:
        keep_wording(db, "release", "en", "New words.", after=0, who="Maren")
    maren.send(f"{url}?item=i1", url, **{"speaker-2": "Ida", "signed-2": "yes"})
    assert [one_["signed"] for one_ in known(box)["i1"]["speakers"]] == ["release-0", "release-1"]


@pytest.mark.parametrize(
    "changed",
    [
        {"title": ""}, {"title": "x" * 81}, {"speaker-1": ""}, {"speaker-2": "OLD tan"}, {"speaker-1": "y" * 101},
        {"edition": "release-9"}, {"date": "z" * 41}, {"seq": "one"},
    ],
)  # fmt: skip
def test_an_interview_that_cannot_be_taken_makes_no_item(maren, box, changed):
    url = interview_url(box)
    answer = maren.send(url, url, **(TOLD | {"place": "by the <b> stove"} | changed))
    assert answer.status_code in (400, 409) and "by the &lt;b&gt; stove" in answer.text
    assert known(box) == {}


def test_an_unsigned_interview_speaks_against_its_gift(maren, desk, box):
    url = interview_url(box)
    maren.send(url, url, **(TOLD | {"signed-1": ""}))
    offer(maren, box, **{"share-k1": "us", "share-i1": "library"})
    gift = all_gifts(desk, box)[0]
    assert gift["kind"] == "interview"
    assert "release not every speaker has signed: i1" in maren.look(f"/gifts/{gift['id']}").text
    assert maren.look(f"{url}?item=i9").status_code == 404


def test_an_interview_entered_as_a_line_is_filled_in_later(maren, desk, box):
    enter(box["path"], read_line("i grandmother on the mill 40", load_rows()), Settings())
    url = interview_url(box)
    page = maren.look(url).text
    assert "Nobody has written who speaks yet." in page and "grandmother on the mill" in page
    assert maren.send(f"{url}?item=i1", url, follow=False, **TOLD).status_code == 303
    assert list(known(box)) == ["i1"] and known(box)["i1"]["speakers"][0]["name"] == "Old Tan"
