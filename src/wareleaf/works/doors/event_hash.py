"""The CBV 2.0 hash of one EPCIS 2.0 event: a name for it that anyone can compute."""

from __future__ import annotations

from typing import Any

from pydantic import Field, model_validator

from wareleaf.works.doors import DoorInput, DoorOutput


class Input(DoorInput):
    """One event as it stands in a document.

    Extension fields (``prefix:name``) are accepted beside the fields of the standard; their
    namespaces come from ``@context``.
    """

    context: Any = Field(
        None, validation_alias="@context", description="The document's @context, for extensions."
    )
    type: str = Field(min_length=1, description="ObjectEvent, TransformationEvent and so on.")
    eventTime: str
    eventTimeZoneOffset: str
    recordTime: Any = Field(None, description="Left out of the hash.")
    eventID: Any = Field(None, description="Left out of the hash.")
    errorDeclaration: Any = Field(None, description="Left out of the hash.")
    certificationInfo: str | list[str] | None = None
    parentID: str | None = None
    epcList: list[str] | None = None
    childEPCs: list[str] | None = None
    inputEPCList: list[str] | None = None
    outputEPCList: list[str] | None = None
    quantityList: list[dict[str, Any]] | None = None
    childQuantityList: list[dict[str, Any]] | None = None
    inputQuantityList: list[dict[str, Any]] | None = None
    outputQuantityList: list[dict[str, Any]] | None = None
    action: str | None = None
    transformationID: str | None = None
    bizStep: str | None = None
    disposition: str | None = None
    persistentDisposition: dict[str, Any] | None = None
    readPoint: dict[str, Any] | None = None
    bizLocation: dict[str, Any] | None = None
    bizTransactionList: list[dict[str, Any]] | None = None
    sourceList: list[dict[str, Any]] | None = None
    destinationList: list[dict[str, Any]] | None = None
    sensorElementList: list[dict[str, Any]] | None = None
    ilmd: dict[str, Any] | None = None
    extensions: dict[str, Any] = Field(
        default_factory=dict,
        description="Extension fields; they may as well stand beside the others.",
    )

    @model_validator(mode="before")
    @classmethod
    def _gather_extensions(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        own = {k: v for k, v in data.items() if ":" in k}
        rest = {k: v for k, v in data.items() if ":" not in k}
        if own:
            rest["extensions"] = {**rest.get("extensions", {}), **own}
        return rest


class Output(DoorOutput):
    """The hash, and the text that was hashed."""

    hash: str
    prehash: str


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.book.exchange.event_hash import event_hash, prehash

    event = data.model_dump(exclude_none=True, exclude={"context", "extensions"})
    event |= data.extensions
    return Output(
        hash=event_hash(event, data.context),
        prehash=prehash(event, data.context),
        sources=[
            "GS1 Core Business Vocabulary 2.0, event hash; where text and vectors differ, the "
            "vectors of its reference implementation are followed (MIT, 5d2f1c3)."
        ],
        warnings=["A hash is no signature: who changes an event can compute the new hash."],
    )
