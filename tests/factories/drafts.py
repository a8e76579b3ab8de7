import factory
from factory.django import DjangoModelFactory

from exercises.convert import spec_of
from exercises.geometry.spec import spec_as_data
from school.models import GridDraft
from tests.clock import NOW
from tests.factories.people import AccountFactory


class GridDraftFactory(DjangoModelFactory):
    """A grid in the making, from a revision of the library or from little."""

    class Meta:
        model = GridDraft

    account = factory.SubFactory(AccountFactory)
    name = "New grid"
    exercise = None
    revision = None
    lesson = None
    made_at = NOW
    changed_at = NOW

    @factory.lazy_attribute
    def steps(self) -> list[dict]:
        if self.revision is not None:
            return [{"spec": spec_as_data(spec_of(self.revision)), "says": ""}]
        spec = {
            "slug": "new-grid",
            "name": self.name,
            "aim": "Say what it is for",
            "level": "novice",
            "approach": "trot",
            "elements": [
                {"kind": "pole"},
                {"kind": "cross", "height_cm": 40, "gap": "placing-trot"},
            ],
            "source": "The school's own",
            "grade": "own",
        }
        return [{"spec": spec, "says": ""}]
