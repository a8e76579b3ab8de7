"""Errors of the API in one shape: code, words, fields."""

from typing import Any

from rest_framework.exceptions import APIException, ValidationError
from rest_framework.response import Response
from rest_framework.views import exception_handler

from school.services.refusals import UnableToBook


def answer_error(error: Exception, context: dict[str, Any]) -> Response | None:
    """Turn an error into a response; what is not expected stays an error."""
    if isinstance(error, UnableToBook):
        return Response(
            {
                "code": error.code,
                "says": error.says,
                "fields": error.fields,
                "overridable": error.overridable,
            },
            status=409,
        )
    response = exception_handler(error, context)
    if response is None:
        return None
    if isinstance(error, ValidationError):
        response.data = {
            "code": "invalid",
            "says": "Look at the fields named.",
            "fields": error.detail,
        }
    else:
        code = error.default_code if isinstance(error, APIException) else "refused"
        says = str(getattr(error, "detail", "")) or "That is not to be had here."
        response.data = {"code": code, "says": says, "fields": {}}
    return response
