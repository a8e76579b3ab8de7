import factory
from factory.django import DjangoModelFactory

from school.models import Reply
from tests.clock import NOW


class ReplyFactory(DjangoModelFactory):
    class Meta:
        model = Reply

    key = factory.Sequence(lambda n: f"{n:064}")
    received_at = NOW
    sender = "guardian@example.org"
    state = "ignored"
