"""The model of tests/oracles/area.pml, filled in for a programme: its rows written out, what the programme says as a line of numbers."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Collection
from pathlib import Path

from loopwright.job.document import OutputRule
from loopwright.programme.response import Response
from loopwright.rehearse.plan import CONDITIONS, Programme
from loopwright.rehearse.state import tick_s

MODEL = Path(__file__).with_name("area.pml")
NONE = 99
LIMITS = ("-DSAFETY", "-DNOREDUCE", "-DBFS", "-DMEMLIM=512")
PATIENCE_S = 600
RESPONSES = (
    Response.IGNORED, Response.CHIME, Response.SOAK_TEST, Response.FINAL_EXIT, Response.ENTRY_ROUTE, Response.IMMEDIATE,
    Response.ROUND_THE_CLOCK, Response.TAMPER, Response.HOLD_UP,
)  # fmt: skip
LEVELS = ("ignored", "user", "engineer", "never")
SOUNDS = ("external", "internal", "silent")
LOUD = ("intruder-full", "intruder-part", "intruder-exit", "intruder-entry", "exit-error")
WHAT = (
    "alarm", "confirmed", "tamper", "hold-up", "set", "unset", "entry", "exit", "sounder", "path", "mains", "battery", "fault",
    "chime", "soak test", "lock-out", "duress",
)  # fmt: skip
"""What a switched output may follow, in the order of the model."""
AREA_ROWS = """
  :: d_step { HAS(@) && WORKS && mode[@] == ENTRY && clk[@] == ENT(@) -> entry_over(@) }
  :: d_step { HAS(@) && WORKS && mode[@] == EXIT && clk[@] == LASTS(@) -> if :: INWAY(@) -> error(@) :: else -> is_set(@) fi }
  :: d_step { HAS(@) && WORKS && BYKEY && (FREELY || (INTO == @ && (INWARD && AWAY || OUTWARD && walk == 2))) && mode[@] == EXIT &&
       door[@] != SETTLING && !INWAY(@) -> by_act(@) }
  :: d_step { HAS(@) && WORKS && FREELY && ALARMBY == 2 && mode[@] == UNSET && memory[@] && !CAUSEIN(@) ->
       memory[@] = 0; lasting[@] = 0; unlatched(OUTIN(@) && !LATCHED(0) && !LATCHED(1));
       quiet_report(@); quiet_sound(@); sounds_anew(@) }
  :: d_step { WORKS && report[@] == WINDOW && reportclk[@] == ABORT -> send_alarm(@) }
  :: d_step { WORKS && report[@] == SENT && reportclk[@] == CANCEL -> report[@] = CLOSED; reportclk[@] = 0 }
  :: d_step { WORKS && report[@] == HELD && reportclk[@] == HOLDBACK ->
       if :: mode[@] == ENTRY -> report[@] = WAITS; reportclk[@] = 0 :: else -> opens_window(@) fi }
  :: d_step { WORKS && sound[@] && soundclk[@] == SOUNDFOR -> quiet_sound(@) }
  :: d_step { WORKS && confirm[@] >= 3 && confirmclk[@] == CONFIRM -> unconfirmed(@) }"""
ITSELF_ROWS = """
  :: d_step { ITSELF(@) && WORKS && mode[@] == UNSET && WARNING(@) && !warns[@] -> warns[@] = 1; warnclk[@] = 0 }
  :: d_step { ITSELF(@) && WORKS && mode[@] == UNSET && !WARNING(@) && NOTHING(@) -> begins_exit(@, 0); changed(@) }
  :: d_step { WORKS && warns[@] && warnclk[@] == WARNING(@) && NOTHING(@) -> begins_exit(@, 0); changed(@) }
  :: d_step { WORKS && warns[@] && warnclk[@] == WARNING(@) && (!NOTHING(@) || UNSEEN(@)) -> warns_no_more(@) }
  :: d_step { WORKS && warns[@] && ANYBODY(FREEWILL(#) && MAYPUTOFF(#, @)) -> warns_no_more(@) }
  :: d_step { FORCED && WORKS && warns[@] && ANYBODY(DURESS(#) && MAYPUTOFF(#, @)) -> warns_no_more(@); begins(@, ODURESS) }"""
PERSON_ROWS = """
  :: d_step { HAS(@) && WORKS && mode[@] != UNSET && (FREELY || (COMING && UNSETS(@))) && ANYBODY(FREEWILL(#) && MAYUNSET(#, @)) ->
       if :: WALKS -> walk = 2; walkclk = 0 :: else fi; leaves(@); changed(@) }
  :: d_step { FORCED && HAS(@) && WORKS && mode[@] != UNSET && ANYBODY(DURESS(#) && MAYUNSET(#, @)) ->
       leaves(@); changed(@); begins(@, ODURESS) }
  :: d_step { HAS(@) && WORKS && FREELY && mode[@] == UNSET && memory[@] && !CAUSEIN(@) &&
       ANYBODY(MAYCLEAR(ALARMBY, #) && (ENGINEER(#) || MAYSET(#, @) || MAYUNSET(#, @))) ->
       memory[@] = 0; lasting[@] = 0; unlatched(OUTIN(@) && !LATCHED(0) && !LATCHED(1));
       quiet_report(@); quiet_sound(@); sounds_anew(@) }"""
SET_ROWS = """
  :: d_step { HAS(@) && WORKS && $ < STATES && (FREELY || (AWAY && $ < WALKSTATES)) && mode[@] == UNSET &&
       ANYBODY(FREEWILL(#) && MAYSET(#, @) && !(FOB(#) && $ != 0) && FREE(@, $, #)) ->
       if :: OUTWARD && @ == INTO -> walk = 1; walkclk = 0 :: else fi; leave_out(@, $); begins_exit(@, $); changed(@) }
  :: d_step { FORCED && HAS(@) && WORKS && $ < STATES && mode[@] == UNSET && ANYBODY(SETSBY(#, @, $) && FREE(@, $, #)) ->
       leave_out(@, $); begins_exit(@, $); changed(@); begins(@, ODURESS) }
  :: d_step { FORCED && HAS(@) && WORKS && $ < STATES && mode[@] == UNSET && ANYBODY(SETSBY(#, @, $) && !FREE(@, $, #)) ->
       begins(@, ODURESS) }"""
ZONE_ROWS = """
  :: d_step { ORDER(~, 0) != NONE && !(FOLLOWED(~) && CONTACT(~) && opened[~]) &&
       (FREELY || (INWARD && ~ == DOOR && AWAY && (SETALL || LEAVING)) || (COMING && PAST(~)) || (GOING && (~ == DOOR || PAST(~)))) ->
       if :: INWARD && AWAY && SETALL -> walk = 1; walkclk = 0 :: else fi; activated(~) }
  :: d_step { FOLLOWED(~) && CONTACT(~) && opened[~] && (FREELY || (~ == DOOR && (GOING || (INWARD && (!AWAY || LEAVING))))) ->
       if :: GOING -> walk = 2; walkclk = 0 :: else fi; shuts(~) }
  :: d_step { FREELY && ORDER(~, 0) != NONE && !FOLLOWED(~) && CONTACT(~) && BYDOOR && power == 0 -> shuts(~) }"""
QUIET_ROWS = """
  :: d_step { WORKS && QUIETDUE(~) -> trips[~] = 0; quietclk[~] = 0;
       if :: IN(~, 0) -> told[0] = 0 :: else fi; if :: IN(~, 1) -> told[1] = 0 :: else fi; if :: IN(~, 2) -> told[2] = 0 :: else fi }"""
DOOR_ROWS = """
  :: d_step { FREELY && HAS(@) && WORKS && mode[@] == EXIT && clk[@] == LASTS(@) &&
       ANYBODY(!FOLLOWED(#) && CONTACT(#) && IN(#, @) && WAY(NOW(#, @))) -> error(@) }"""
LATCHED_ROWS = """
  :: d_step { CONDITIONS && WORKS && cond[0] && (TAMPERBY == 2 || ANYBODY(MAYCLEAR(TAMPERBY, #))) && !CAUSE(TAMPER) ->
       cond[0] = 0; unlatched(LATCHED(0)) }
  :: d_step { CONDITIONS && WORKS && cond[1] && (TAMPERBY == 2 || ANYBODY(MAYCLEAR(TAMPERBY, #))) && !CAUSE(HOLD) ->
       cond[1] = 0; unlatched(LATCHED(1)) }"""
FAULT_ROWS = """
  :: d_step { CONDITIONS && WORKS -> cond[%] = 1 - cond[%]; fails(%) }"""


def model(*, breadth_first: bool = False, switched: bool = False) -> str:
    """Return the model with its rows written out, with a switched output if so asked.

    A search by breadth has no hidden variables: what is between is tidied up.
    """
    three = "012"
    rows = [AREA_ROWS.replace("@", area) for area in three] + [LATCHED_ROWS] + [FAULT_ROWS.replace("%", each) for each in "234"]
    rows += [PERSON_ROWS.replace("@", area) for area in three] + [ZONE_ROWS.replace("~", zone) for zone in three]
    rows += [SET_ROWS.replace("@", area).replace("$", state) for area in "01" for state in "01"]
    rows += [ITSELF_ROWS.replace("@", area) for area in "01"]
    rows += [QUIET_ROWS.replace("~", zone) for zone in three]
    rows += [DOOR_ROWS.replace("@", area) for area in three]
    text = MODEL.read_text(encoding="utf-8").replace("\nROWS\n", anybody("".join(rows)) + "\n")
    last = ("; settle()" if switched else "") + ("; tidy()" if breadth_first else "")
    if breadth_first:
        text = text.replace("hidden byte", "byte").replace(" said[number++]", " now.said[number++]")
    for then in ("\n  ::", "\n  od"):
        text = text.replace(f" }}{then}", f"{last} }}{then}")
    return text


def built(folder: Path) -> Path:
    """Return the checker of the model with a switched output, made in a folder, by breadth."""
    (folder / "area.pml").write_text(model(breadth_first=True, switched=True), encoding="utf-8")
    for command in (("spin", "-a", "area.pml"), ("gcc", "-w", "-O0", *LIMITS, "-o", "pan", "pan.c")):
        subprocess.run(command, cwd=folder, check=True, capture_output=True, timeout=PATIENCE_S)
    return folder / "pan"


def run(checker: Path, what: str) -> str:
    """Return what the checker says of a programme told in numbers."""
    done = subprocess.run(
        (str(checker), "-E", "-w18"),
        cwd=checker.parent, env={**os.environ, "PROGRAMME": what}, capture_output=True, text=True, timeout=PATIENCE_S,
    )  # fmt: skip
    assert "pan: reached -DMEMLIM" not in done.stdout
    return done.stdout


def anybody(rows: str) -> str:
    """Return rows with what is asked of anybody, person or zone, asked of each of three."""
    done = ""
    while "ANYBODY(" in rows:
        before, _, rows = rows.partition("ANYBODY(")
        depth, at = 1, 0
        while depth:
            depth += {"(": 1, ")": -1}.get(rows[at], 0)
            at += 1
        asked, rows = rows[: at - 1], rows[at:]
        done += before + "(" + " || ".join(f"({asked.replace('#', who)})" for who in "012") + ")"
    return done + rows


def numbers(programme: Programme, asked: int = 0, rule: OutputRule | None = None, rule_in: Collection[str] = ()) -> str:
    """Return what a programme says, in the order the model reads it, which of six questions is asked, and a rule of a switched output."""
    told, tick = programme.told, tick_s(programme)
    areas = [name for name, plan in programme.areas.items() if not plan.serves]
    lobby = next((name for name, plan in programme.areas.items() if plan.serves), None)
    slots = [*(areas + [""] * 2)[:2], lobby or ""]
    zones = [*programme.zones.values()]
    blank = (zones + [None] * 3)[:3]

    def ticks(time_s: float | None) -> int:
        return NONE if time_s is None else round(time_s / tick)

    found = [int(bool(slot)) for slot in slots]
    found += [ticks(programme.areas[slot].entry_s) if slot else 0 for slot in slots]
    found += [ticks(programme.areas[slot].exit_s) if slot else 0 for slot in slots]
    found += [int(bool(lobby) and slot in programme.areas[lobby or ""].serves) for slot in slots]
    found += [int(zone is not None and slot in zone.areas) for zone in blank for slot in slots]
    for zone in blank:
        order = [slots.index(area) for area in zone.areas] if zone else []
        found += (order + [NONE] * 3)[:3]
    for zone in blank:
        does = [RESPONSES.index(word) for word in zone.does] if zone else []
        found += (does + [0] * 3)[:3]
    found += [int(zone is not None and zone.contact) for zone in blank] + [int(zone is not None and zone.followed) for zone in blank]
    people = [*programme.people]
    three = (people + [None] * 3)[:3]
    found += [int(who is not None and who.right(slot, "set")) for who in three for slot in slots]
    found += [int(who is not None and who.right(slot, "unset")) for who in three for slot in slots]
    found += [int(who is not None and who.engineer) for who in three] + [int(who is not None and not who.duress) for who in three]
    found += [LEVELS.index(programme.prevents.get(name, "ignored")) for name in CONDITIONS]
    found += [SOUNDS.index(programme.sounds[f"{what}-{when}"]) for what in ("tamper", "hold-up", "24-hour") for when in ("unset", "set")]
    found += [len(programme.states), *(int(told.set_by == each) for each in ("timed", "final-door", "key-switch")), ticks(told.settle_s)]
    found += [int(told.exit_restart), int(told.exit_error == "fails"), int(told.unvacated == "part"), int(told.exit_alarm == "stops")]
    found += [told.trips, ("unset", "set", "midnight").index(told.trips_reset)]
    found += [("user", "engineer", "remote").index(each) for each in (told.alarm_reset, told.tamper_reset)]
    found += [int(told.shared_zones == "all"), int(told.lobby_sets == "at-once"), ticks(told.blind_s), ticks(told.sounder_s)]
    found += [ticks(told.abort_s), ticks(told.cancel_s), ticks(told.confirm_s), int(told.confirm_in_entry), ticks(told.entry_alarm_s)]
    found += [int("alarm" in told.reports), int("conditions" in programme.tracks), int("power" in programme.tracks)]
    found += [int(each in programme.observers) for each in ("report", "sound", "confirm")]
    found += [int("confirm" in programme.observers or bool(programme.judged))]
    plans = [programme.areas.get(slot) for slot in slots]
    found += [asked, int(told.after_power == "unset"), *(int(plan is not None and plan.by_itself) for plan in plans)]
    found += [ticks(plan.warns_s) if plan else 0 for plan in plans] + [int(who is not None and who.fob) for who in three]
    if rule:
        found += [1 + WHAT.index(rule.follows.partition(" in ")[0]), {"follow": 0, "latch": 2}.get(rule.how, 1)]
        found += [ticks(None if rule.how == "latch" else rule.duration_s), *(int(slot in rule_in) for slot in slots)]
    else:
        found += [0] * 6
    found += [ticks(told.trips_quiet_s)]
    if walk := programme.walk:
        names = [*programme.zones]
        past = [int(slot < len(names) and names[slot] in walk.past) for slot in range(3)]
        found += [2 if walk.out else 1, names.index(walk.door), *past, ticks(walk.lasts_s), walk.states, slots.index(walk.area)]
    else:
        found += [0] * 8
    found += [told.soundings, int(told.unconfirmed == "inhibited"), *(int(slot in programme.judged) for slot in slots)]
    found += [SOUNDS.index(programme.sounds[cell]) for cell in LOUD] + [int(told.sounder_anew)]
    return " ".join(map(str, found))
