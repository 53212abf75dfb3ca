"""An estate file of the form before: its stored answers can't be read any more, and are made again instead of failing a page."""

from webapp import answers
from webapp.database import open_estate
from webapp.ripeness import service

from .test_service import field, load_land, visit  # noqa: F401


def test_answers_of_the_older_form_are_made_again(field, estate_path):  # noqa: F811
    answers.put(field, service.STAGE, "old", {"plots": []}, {})
    field.conn.execute("DELETE FROM _sqlite_migrations WHERE name = 'm0009_answers_anew'")
    field.conn.commit()
    again = open_estate(estate_path)
    assert answers.latest(again, service.STAGE) is None
    assert service.plot_now(again, "VS-01")["mean_deg"][0] > 0
    again.conn.close()
