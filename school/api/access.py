"""Permissions of the API, by the predicates of school.permissions."""

from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request
from rest_framework.views import APIView

from school.permissions import is_manager, is_staff_of_yard, may_work_resets


class StaffReadManagerWrite(BasePermission):
    """Staff of the yard may read; managers may write."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        if not request.user.is_authenticated:
            return False
        may = is_staff_of_yard if request.method in SAFE_METHODS else is_manager
        return may(request.user)


class WorksResets(BasePermission):
    """Who works the reset list may read it, and send what was pressed."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        return request.user.is_authenticated and may_work_resets(request.user)
