"""The response of known filters after the measured stage."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.physics import filter_response

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence


def low_pass_response(texts: Sequence[str]) -> Callable[[Any], Any] | None:
    """Return H(Hz) of low-pass filters in series, each as in a job file; None when all are off.

    Raises
    ------
    QuantityError : a text is not a filter.
    """
    from gainwright.model import FilterSetting

    settings = [FilterSetting.parse(text) for text in texts if text.strip().lower() != "off"]
    if not settings:
        return None

    def response(frequency_hz: Any) -> Any:
        total: Any = 1.0
        for setting in settings:
            assert setting.corner is not None  # noqa: S101  off was filtered out
            total = total * filter_response(
                shape=setting.shape,
                slope_db_per_octave=setting.slope_db_per_octave,
                kind="low",
                corner_hz=setting.corner.nominal,
                frequency_hz=frequency_hz,
            )
        return total

    return response
