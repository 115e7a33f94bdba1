"""Asking the API as a program does, and reading its description."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from django.http import HttpResponse
from django.test import Client
from jsonschema import Draft202012Validator, FormatChecker

from portfolio.domain.tokens import issue_token
from portfolio.models import Organisation, User

ROOT = "/api/v1/"
PROBLEM = "application/problem+json"


class Program:
    """A program with a token of one organisation."""

    def __init__(self, user: User, organisation: Organisation) -> None:
        _, key = issue_token(user=user, organisation=organisation, name="a program")
        self._client = Client(headers={"authorization": f"Bearer {key}"})

    def get(self, path: str, **headers: str) -> HttpResponse:
        return self.ask("GET", path, **headers)

    def ask(self, method: str, path: str, **headers: str) -> HttpResponse:
        url = path if path.startswith(("/", "http")) else ROOT + path
        return self._client.generic(method, url, headers=headers)

    def send(self, method: str, path: str, data: Any, **headers: str) -> HttpResponse:
        """Send a payload as JSON."""
        url = path if path.startswith(("/", "http")) else ROOT + path
        return self._client.generic(method, url, json.dumps(data), "application/json", headers=headers)

    def results(self, path: str) -> list[dict[str, Any]]:
        """The rows of a list's first page."""
        response = self.get(path)
        assert response.status_code == 200, response.content
        return json.loads(response.content)["results"]


def assert_problem(response: HttpResponse, status: int) -> dict[str, Any]:
    """The response is a problem in the described shape; gives it."""
    assert response.status_code == status, response.content
    assert response["Content-Type"] == PROBLEM
    problem: dict[str, Any] = json.loads(response.content)
    validator({"$ref": "#/components/schemas/Problem"}).validate(problem)
    assert problem["status"] == status
    return problem


@cache
def description() -> dict[str, Any]:
    """The OpenAPI description as it is served."""
    response = Client().get(f"{ROOT}schema/?format=json")
    assert response.status_code == 200
    return json.loads(response.content)


def validator(schema: dict[str, Any]) -> Draft202012Validator:
    """A validator of JSON Schema 2020-12, which OpenAPI 3.1 uses as it is (OAS 3.1.0, section 4.8.24)."""
    whole = {**schema, "components": description()["components"]}
    return Draft202012Validator(whole, format_checker=FormatChecker())


def schema_of(path: str) -> dict[str, Any]:
    """The described schema of a GET answer in JSON."""
    answer = description()["paths"][ROOT + path]["get"]["responses"]["200"]
    schema: dict[str, Any] = answer["content"]["application/json"]["schema"]
    return schema
