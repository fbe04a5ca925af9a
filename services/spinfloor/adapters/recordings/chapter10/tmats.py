"""The set-up record (Chapter 9): PCM frame geometry and parameters, for channels the map says nothing of.

Attributes used: R-x\\TK1-n channel, R-x\\CDLN-n (or DSI-n) data link; P-x\\DLN, D2 bits per second, F1 word length,
MF\\N, MF1 words (the sync pattern counts as one), MF4/MF5 sync, IDC1/3/4/6 frame counter; D-x\\DLN, MN, LT, WP, WI, FP,
FI, WFM, WFP; C-x\\DCN, MN3 unit, BFM coding, DCT with CO (coefficients) or two pair sets. Whatever is missing or
ambiguous is noted, never replaced.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from math import isnan

from pydantic import ValidationError

from spinfloor.adapters.recordings.recording import Notes
from spinfloor.core.plan.frame_layouts import Coding, PcmLayout, PcmParameter

MOST_FRAGMENTS = 4  # words that one parameter may be put together from
Attributes = Mapping[str, str]
_CODING = {
    "UNS": Coding.UNSIGNED,
    "TWO": Coding.TWOS_COMPLEMENT,
    "OFF": Coding.OFFSET_BINARY,
    "SIG": Coding.SIGN_MAGNITUDE,
    "INT": Coding.UNSIGNED,
    "FPT": Coding.FLOAT,
}


def attributes(text: str) -> dict[str, str]:
    """`CODE:value;` pairs, codes in capitals; the first of a repeated code is kept."""
    out: dict[str, str] = {}
    for statement in text.split(";"):
        code, colon, value = statement.partition(":")
        if colon:
            out.setdefault(code.strip().upper(), value.strip())
    return out


def pcm_layouts(text: str, notes: Notes) -> list[PcmLayout]:
    """A layout for every recorded PCM channel that is described well enough."""
    found = attributes(text)
    layouts: list[PcmLayout] = []
    for code, value in found.items():
        match = re.fullmatch(r"R-(\d+)\\TK1-(\d+)", code)
        if match is None or not value.isdigit():
            continue
        recorder, n = match.groups()
        link = found.get(f"R-{recorder}\\CDLN-{n}") or found.get(f"R-{recorder}\\DSI-{n}")
        group = next((c.split("\\")[0] for c, v in found.items() if re.fullmatch(r"P-\d+\\DLN", c) and v == link), None)
        if group is None:
            continue
        try:
            layouts.append(_layout(found, int(value), group, link or "", notes))
        except (ValueError, ValidationError) as error:
            reason = error.errors()[0]["msg"] if isinstance(error, ValidationError) else str(error)
            notes.add(f"set-up record, {group}", f"PCM format of channel {value} cannot be used: {reason}")
    return layouts


def _layout(found: Attributes, channel: int, group: str, link: str, notes: Notes) -> PcmLayout:
    word_bits = _whole(found, f"{group}\\F1")
    pattern = found.get(f"{group}\\MF5", "")
    if not re.fullmatch(r"[01]{8,64}", pattern):
        raise ValueError(f"{group}\\MF5 gives no sync pattern")
    if found.get(f"{group}\\F2", "M") != "M":
        raise ValueError("words come least significant bit first, which is not read")
    sync_bits = len(pattern)
    words = _whole(found, f"{group}\\MF1") - 1
    minor_frames = int(found.get(f"{group}\\MF\\N") or 1)
    counter = found.get(f"{group}\\IDC1-1")
    fields: dict[str, object] = {
        "channel": channel,
        "sync_pattern_hex": f"{int(pattern, 2):X}",
        "sync_bits": sync_bits,
        "word_bits": word_bits,
        "words_per_minor_frame": words,
        "minor_frames_per_major": minor_frames,
        "bits_per_second": float(found.get(f"{group}\\D2", "nan")),
    }
    if counter and counter.isdigit():
        fields["counter_word"] = int(counter)
        fields["counter_first_bit"] = int(found.get(f"{group}\\IDC3-1") or 1)
        fields["counter_bits"] = int(found.get(f"{group}\\IDC4-1") or 0)
        fields["counter_first"] = int(found.get(f"{group}\\IDC6-1") or 0)
    plain = PcmLayout.model_validate(fields)
    stated = found.get(f"{group}\\MF2")
    if stated and stated.isdigit() and int(stated) != plain.minor_frame_bits:
        raise ValueError(f"MF2 says {stated} bits a minor frame, words and sync make {plain.minor_frame_bits}")
    good = {p.name: p for p in _parameters(found, plain, link, notes)}
    return plain.model_copy(update={"parameters": tuple(good.values())})


def _whole(found: Attributes, code: str) -> int:
    text = found.get(code, "")
    if not text.isdigit():
        raise ValueError(f"{code} is missing")
    return int(text)


def _parameters(found: Attributes, layout: PcmLayout, link: str, notes: Notes) -> Iterator[PcmParameter]:
    group = next((c.split("\\")[0] for c, v in found.items() if re.fullmatch(r"D-\d+\\DLN", c) and v == link), None)
    for code, name in found.items():
        match = re.fullmatch(r"(D-\d+)\\MN-(\d+-\d+)", code)
        if match is None or match[1] != group:
            continue
        try:
            fields = {"name": name, **_location(found, match[1], match[2], layout), **_conversion(found, name, notes)}
            PcmLayout.model_validate({**layout.model_dump(), "parameters": [fields]})
            yield PcmParameter.model_validate(fields)
        except (ValueError, ValidationError) as error:
            reason = error.errors()[0]["msg"] if isinstance(error, ValidationError) else str(error)
            notes.add(f"set-up record, {code}", f"{name} cannot be read: {reason}")


def _location(found: Attributes, group: str, index: str, layout: PcmLayout) -> dict[str, object]:
    def get(code: str, fragment: int, default: str) -> str:
        # Location 1, with the fragment number after it; some writers leave the last numbers out.
        for tail in (
            f"-{index}-1-{fragment}",
            f"-{index}-1" if fragment == 1 else "?",
            f"-{index}" if fragment == 1 else "?",
        ):
            if f"{group}\\{code}{tail}" in found:
                return found[f"{group}\\{code}{tail}"]
        return default

    if found.get(f"{group}\\LT-{index}", "WDFR").strip() != "WDFR":
        raise ValueError("only word-and-frame locations are read")
    count = int(found.get(f"{group}\\MNF\\N-{index}-1") or get("MNF\\N", 1, "1") or 1)
    if not 1 <= count <= MOST_FRAGMENTS:
        raise ValueError(f"it has {count} word fragments, where 1 to {MOST_FRAGMENTS} are read")
    order = [int(get("WFP", k, "1")) for k in range(1, count + 1)]
    if sorted(order) != list(range(1, count + 1)):
        raise ValueError("the order of its word fragments is not stated")
    words = [0] * count
    for k, place in enumerate(order, start=1):
        words[place - 1] = int(get("WP", k, ""))
    out: dict[str, object] = {"words": words, "every": int(get("WI", 1, "0") or 0)}
    out["minor_frames"] = _minor_frames(int(get("FP", 1, "1")), int(get("FI", 1, "1") or 1), layout)
    mask = get("WFM", 1, "FW")
    if mask not in ("FW", ""):
        if count > 1 or not re.fullmatch(r"0*1+0*", mask):
            raise ValueError("a mask over several words, or with gaps, is not read")
        out["first_bit"] = layout.word_bits - len(mask) + mask.index("1") + 1
        out["bits"] = mask.count("1")
    return out


def _minor_frames(first: int, interval: int, layout: PcmLayout) -> list[int]:
    if interval == 1 and first == 1:
        return []
    if interval == 0:
        return [first]
    return list(range(first, layout.minor_frames_per_major + 1, interval))


def _conversion(found: Attributes, name: str, notes: Notes) -> dict[str, object]:
    group = next((c.split("\\")[0] for c, v in found.items() if re.fullmatch(r"C-\d+\\DCN", c) and v == name), None)
    if group is None:
        return {}
    coding = _CODING.get(found.get(f"{group}\\BFM", "UNS")[:3])
    if coding is None:
        raise ValueError(f"binary format {found[f'{group}' + chr(92) + 'BFM']} is not read")
    line = _line(found, group)
    if line is None:
        notes.add(f"set-up record, {group}", f"conversion of {name} is not a straight line; raw counts were read")
        return {"coding": coding}
    return {"coding": coding, "offset": line[0], "scale": line[1], "unit": found.get(f"{group}\\MN3") or None}


def _line(found: Attributes, group: str) -> tuple[float, float] | None:
    """Offset and slope, None when the conversion is something else or not given."""
    kind = found.get(f"{group}\\DCT")
    if kind == "COE" and int(found.get(f"{group}\\CO\\N") or 0) == 1:
        return float(found.get(f"{group}\\CO") or 0.0), float(found.get(f"{group}\\CO-1") or 0.0)
    if kind == "PRS" and found.get(f"{group}\\PS\\N") == "2":
        stated = [found.get(f"{group}\\PS{axis}-{point}", "nan") for axis in (1, 2) for point in (1, 2)]
        x0, x1, y0, y1 = map(float, stated)
        if x0 != x1 and not isnan(x0 + x1 + y0 + y1):
            slope = (y1 - y0) / (x1 - x0)
            return y0 - slope * x0, slope
    return None
