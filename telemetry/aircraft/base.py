"""What all records of an aircraft share: frozen, and no key that is not known."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Record(BaseModel):
    """One table of a profile, checked when it is made; raises pydantic's ``ValidationError``."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
