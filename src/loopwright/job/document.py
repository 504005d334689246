"""The job document: one premises, as designed and as found. It holds no results; results are always computed.

Everything that has a name is kept in a mapping by that name, so that a place in the document
(``cables/W07/length_m``) stays the same when something is put in before it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Annotated, Literal

from loopwright.job.field import (
    Amperes,
    Celsius,
    Count,
    Day,
    Decibels,
    Degrees,
    Hertz,
    Hours,
    LongText,
    MainsVolts,
    Metres,
    Minutes,
    Moment,
    Ohms,
    OneOrMore,
    Percent,
    Ref,
    ResistorOhms,
    Seconds,
    TerminalRef,
    Text,
    Volts,
    may,
    need,
    rows,
)
from loopwright.job.sheet import EquipmentSheet, ResistorSet, Sheets, Topology

FORMAT = 1


class Stage(StrEnum):
    """Where the work stands; what is normal to see depends on it."""

    DESIGN = "design"
    BENCH = "kit-on-bench"
    FIRST_FIX = "first-fix"
    POWER_UP = "first-power-up"
    ENROLLED = "enrolled"
    PROGRAMMED = "programmed"
    PROVED = "proved"
    IN_SERVICE = "in-service"


class UnitSystem(StrEnum):
    """The units a person reads and writes."""

    METRIC = "metric"
    US = "us"


class YesNoUnknown(StrEnum):
    """A fact that may not be known yet; unknown is a gap, not a no."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


@dataclass(frozen=True, kw_only=True, slots=True)
class Premises:
    """The building that is watched."""

    name: Text = need("What the premises are called.")
    address: LongText = may("Postal address.", "")
    occupancy: Text = may("Who uses it and when.", "")
    notes: LongText = may("Anything the next technician should know.", "")


@dataclass(frozen=True, kw_only=True, slots=True)
class Party:
    """A person or firm with a part in the job."""

    role: Text = need("customer, installer, receiving centre, insurer, keyholder, ...")
    name: Text = need("Name.")
    phone: Text = may("Telephone.", "")
    note: LongText = may("Note.", "")


@dataclass(frozen=True, kw_only=True, slots=True)
class LocalLimit:
    """What a local law allows a time of the programme to be."""

    least_s: Seconds | None = may("Least it may be.")
    most_s: Seconds | None = may("Most it may be.")
    law: Text = need("The law, with its date.")
    seen: Text = may("Where it was read, and by whom.", "")


@dataclass(frozen=True, kw_only=True, slots=True)
class LocalLevel:
    """How loud a local law allows a sounder to be, or asks it to be."""

    least_db: Decibels | None = may("Least it may be.")
    most_db: Decibels | None = may("Most it may be.")
    at_m: Metres = need("How far from the sounder that is meant.")
    law: Text = need("The law, with its date.")
    seen: Text = may("Where it was read, and by whom.", "")


@dataclass(frozen=True, kw_only=True, slots=True)
class Region:
    """Where the job is and which rules it follows."""

    country: Text = need("ISO 3166 country code.")
    ruleset: Text = need("na-household, na-commercial, en-grade-1 to en-grade-4, or custom.")
    units: UnitSystem = may("Units a person reads.", UnitSystem.METRIC)
    mains_v: MainsVolts = may("Nominal mains volts.", 230.0)
    mains_hz: Hertz = may("Nominal mains frequency.", 50.0)
    standby_h: Hours | None = may("Standby hours asked for, where the customer, the insurer or a custom ruleset says so.")
    alarm_min: Minutes | None = may("Minutes of alarm at the end of standby asked for, likewise.")
    also: tuple[Literal["cp-01", "bs-8243", "uk-sounding"], ...] = may("Further rulesets the job is under.", ())
    local_law: Mapping[
        Literal["entry_s", "exit_s", "sounder_s", "sounding_s", "sounding_total_s", "abort_s", "cancel_s", "confirm_s"], LocalLimit
    ] = rows("What local law allows, by the time it is about.")
    local_level: Mapping[Literal["level_outside_db", "level_inside_db"], LocalLevel] = rows(
        "How loud local law allows sounders to be, by where they hang."
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Room:
    """A room, by name; on a plan a rectangle, all rooms of a storey measured from the same corner."""

    name: Text = need("Name.")
    left_m: Metres | None = may("On the plan: its left edge.")
    front_m: Metres | None = may("On the plan: its near edge.")
    width_m: Metres | None = may("On the plan: its width, to the right.")
    depth_m: Metres | None = may("On the plan: its depth, away from the near edge.")


@dataclass(frozen=True, kw_only=True, slots=True)
class Storey:
    """A storey and its rooms."""

    name: Text = need("Name.")
    rooms: Mapping[str, Room] = rows("Rooms by id; an id is unique over all storeys.")


@dataclass(frozen=True, kw_only=True, slots=True)
class FittedBattery:
    """The battery in a supply's box."""

    sheet: Annotated[str, Ref("sheets/batteries")] = need("Its data sheet.")
    parallel: OneOrMore = may("How many are connected in parallel.", 1)
    fitted_on: Day = may("When it was fitted, as far as it is known.", "")
    measured_capacity_pct: Percent | None = may("Capacity found in a discharge test, per cent of rated.")
    temperature_c: Celsius = may("Temperature in the box.", 20.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class EndResistor:
    """A resistor fitted across a supervised output."""

    ohm: ResistorOhms = need("Its value.")
    tolerance_pct: Percent = may("Its tolerance.", 5.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Equipment:
    """One piece of equipment in its place."""

    sheet: Annotated[str, Ref("sheets/equipment")] = need("Its data sheet.")
    label: Text = may("What people call it.", "")
    room: Annotated[str, Ref("rooms")] | None = may("The room it stands in.")
    battery: FittedBattery | None = may("The battery connected to its supply.")
    address: Count | None = may("Its address on the bus.")
    enrolled: YesNoUnknown = may("The control unit has it in its list.", YesNoUnknown.UNKNOWN)
    left_m: Metres | None = may("On the plan: how far to the right it stands.")
    front_m: Metres | None = may("On the plan: how far from the near edge it stands.")
    facing_deg: Degrees | None = may("On the plan: where a detector looks; 0 to the right, 90 away from the near edge.")
    inside: Annotated[str, TerminalRef("outputs")] | None = may("Fed straight from this output, in the same box, without a cable run.")
    end_resistors: Mapping[str, EndResistor] = rows("Resistors fitted across supervised outputs, by output: at the far end, or unused.")
    default_codes_changed: YesNoUnknown = may("Factory codes have been replaced (control units only).", YesNoUnknown.UNKNOWN)
    note: LongText = may("Note.", "")


@dataclass(frozen=True, kw_only=True, slots=True)
class Joint:
    """A junction box where cables meet."""

    room: Annotated[str, Ref("rooms")] | None = may("The room it stands in.")
    joint_ohm: Ohms = may("Resistance each joined core gains here.", 0.01)


@dataclass(frozen=True, kw_only=True, slots=True)
class Feed:
    """A supply pair inside a cable run."""

    output: Annotated[str, TerminalRef("outputs")] = need("The output whose current it carries.")
    load: Text = may("The supply input it lands on at the far end.", "supply")
    cores: OneOrMore = may("Cores in parallel each way.", 1)
    return_cores: Count | None = may("Cores in parallel on the 0 V side when not the same number; 0 when another feed's return is shared.")

    @property
    def cores_back(self) -> int:
        """Return the cores in parallel on the 0 V side."""
        return self.cores if self.return_cores is None else self.return_cores


@dataclass(frozen=True, kw_only=True, slots=True)
class Cable:
    """One cable run between two places."""

    sheet: Annotated[str, Ref("sheets/cables")] = need("The cable used.")
    start: Annotated[str, Ref("places")] = need("Equipment or joint where the run starts (the control unit's side).")
    end: Annotated[str, Ref("places")] = need("Equipment or joint where the run ends.")
    length_m: Metres = need("Length of the run, one way.")
    slack_m: Metres = may("Slack left at the ends, one way in all.", 0.0)
    temperature_c: Celsius = may("Conductor temperature.", 20.0)
    feeds: tuple[Feed, ...] = may("Supply pairs it carries.", ())
    zero_v_cores: Count = may("Cores that join the 0 V of both ends, beyond those of the feeds.", 0)
    bus: bool = may("Carries the data bus.", False)


class EndPlace(StrEnum):
    """Where the end resistor is fitted."""

    LAST_DEVICE = "last-device"
    CONTROL_UNIT = "control-unit"


@dataclass(frozen=True, kw_only=True, slots=True)
class Hop:
    """One step along a detection circuit: through a cable run to a device."""

    cable: Annotated[str, Ref("cables")] = need("The cable run the circuit's pair goes through.")
    device: Annotated[str, Ref("equipment")] | None = may("The device at the far end; silent when the pair only passes through.")
    contacts: tuple[str, ...] = may("Contacts of the device that stand in it, in order from the control unit.", ("tamper", "alarm"))
    part: Literal["a", "b"] = may("For two zones on one pair: which of them the device belongs to.", "a")
    shares_return_with: Annotated[str, Ref("circuits")] | None = may("The circuit whose return core it uses in this run.")


@dataclass(frozen=True, kw_only=True, slots=True)
class Circuit:
    """One detection circuit: a pair of cores from an input out along its devices."""

    input: Annotated[str, TerminalRef("inputs")] | None = may("The input it lands on; silent while it is not landed.")
    topology: Topology = need("How its resistors stand.")
    resistors: ResistorSet = may("Resistor values fitted.", ResistorSet())
    resistor_tolerance_pct: Percent = may("Tolerance of the resistors.", 1.0)
    end_at: EndPlace = may("Where the end resistor is fitted.", EndPlace.LAST_DEVICE)
    path: tuple[Hop, ...] = may("The way along the cables, in order from the control unit.", ())
    leak_ohm: Ohms | None = may("Leakage between the two cores, when it was measured.")
    note: LongText = may("Note.", "")


@dataclass(frozen=True, kw_only=True, slots=True)
class Area:
    """A part of the premises that is set by itself."""

    name: Text = need("Name.")
    entry_s: Seconds | None = may("Entry time.")
    exit_s: Seconds | None = may("Exit time.")
    common_to: tuple[Annotated[str, Ref("areas")], ...] = may("Areas this one is shared by: a lobby or landing.", ())
    entry_doors: tuple[Annotated[str, Ref("zones")], ...] = may("What the customer expects: doors people may come in by.", ())
    walked_past: tuple[Annotated[str, Ref("zones")], ...] = may("What the customer expects: zones passed between door and keypad.", ())
    walk_s: Seconds | None = may("What the customer expects: time the slowest person takes between door and keypad.")
    entered: Literal["full", "every-set"] | None = may(
        "What the customer expects: people come in and go out while it is set in full only, or in a part set too."
    )
    keypad: Annotated[str, Ref("equipment")] | None = may("What the customer expects: where people set and unset it.")
    way: tuple[Annotated[str, Ref("rooms")], ...] = may("What the customer expects: rooms walked through, from door to keypad.", ())
    set_at: Text | None = may("When it sets itself by the clock, in full, as it is said to people; silent for never.")
    warning_s: Seconds | None = may("How long it warns before it sets itself; silent for no warning.")
    longest_set_h: Hours | None = may("What the customer expects: longest time it stays set, holidays too.")


@dataclass(frozen=True, kw_only=True, slots=True)
class Zone:
    """What the control unit shows to people for one circuit."""

    number: Count = need("Number shown.")
    text: Text = need("Text shown.")
    circuit: Annotated[str, Ref("circuits")] | None = may("The circuit behind it.")
    part: Literal["a", "b"] = may("For two zones on one pair: which of them it is.", "a")
    areas: tuple[Annotated[str, Ref("areas")], ...] = may("Areas it lies in.", ())
    response: Mapping[str, Text] = rows("What it does in each set state: unset, full, and each part set.")
    watched: Literal["full", "every-set", "always"] | None = may("What the customer expects: when it is to raise an alarm.")


@dataclass(frozen=True, kw_only=True, slots=True)
class User:
    """A user by role. Codes are secrets and never stand in this document."""

    role: Text = need("What the person is here: owner, staff, cleaner, service.")
    areas: Mapping[Annotated[str, Ref("areas")], Literal["set", "unset", "both", "none"]] = rows(
        "For each area: what the user may do there (set, unset, both, none)."
    )
    access: Literal["user", "engineer"] = may("Level of access: a user, or the engineer the users let in.", "user")
    duress: bool = may("Has a duress code: it does what the user's own does, and is signalled in silence.", False)
    fob: bool = may("Has a fob or card: it sets in full and unsets without a code, overrides nothing and clears nothing.", False)
    number: OneOrMore | None = may("The number the control unit reports this user by.")
    duress_number: OneOrMore | None = may("The number it reports the duress code by, where that is another one.")
    walk_s: Seconds | None = may("What the customer expects: time this person takes between door and keypad; the area's when silent.")


InTheWay = Literal["open", "memory", "tamper", "hold-up", "path", "mains", "battery"]
"""What may be in the way of setting."""
SoundsOn = Literal[
    "intruder-full", "intruder-part", "intruder-exit", "intruder-entry", "exit-error", "tamper-unset", "tamper-set", "hold-up-unset",
    "hold-up-set", "24-hour-unset", "24-hour-set",
]  # fmt: skip
"""The alarms of which it is said what sounds."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Programme:
    """Part sets, times and the choices in which trade practice differs: what the control unit is told."""

    part_sets: tuple[str, ...] = may("Names of the part sets.", ())
    sounder_s: Seconds | None = may("How long the sounders run.")
    sounder_anew: bool = may("An alarm while the sounders sound begins their time anew.", True)
    soundings: Count = may("How often alarms start the sounders, or their time anew, until unset or cleared; 0 for however often.", 0)
    abort_s: Seconds | None = may("Abort window before an alarm is signalled.")
    cancel_s: Seconds | None = may("Time after an alarm was signalled in which unsetting sends a cancel; silent for any time.")
    set_by: Literal["timed", "final-door", "key-switch"] = may(
        "What ends the exit: its time, the final door shutting, or a lock thrown.", "timed"
    )
    settle_s: Seconds | None = may("Time between the final door shutting, or the lock thrown, and set; silent for at once.")
    exit_restart: bool = may("A final door used twice starts the exit time again, once.", False)
    exit_error: Literal["entry", "fails"] = may("A door open when the exit time ends: entry with the sounder, or setting fails.", "entry")
    unvacated: Literal["full", "part"] = may("Full set asked for and nobody went out: full all the same, or the first part set.", "full")
    exit_alarm: Literal["alarm", "stops"] = may("An immediate zone during exit: alarm, or the setting stops.", "alarm")
    lock_out_trips: Count = may("Alarms of one zone in a set period before it is locked out; 0 for never.", 0)
    override_open: bool = may("A user may set with zones open; they are inhibited and the override is told.", False)
    lock_out_reset: Literal["unset", "set", "midnight"] = may("When the alarms counted are forgotten.", "unset")
    lock_out_quiet_s: Seconds | None = may("Time a zone is quiet after which its alarms are forgotten as well; silent for however long.")
    alarm_reset: Literal["user", "engineer", "remote"] = may("Who clears an alarm that happened.", "user")
    tamper_reset: Literal["user", "engineer", "remote"] = may("Who clears a tamper or hold-up that happened.", "user")
    prevents: Mapping[InTheWay, Literal["ignored", "user", "engineer", "never"]] = rows(
        "For each of open, memory, tamper, hold-up, path, mains and battery: who may set all the same, or whether it is ignored."
    )
    sounds: Mapping[SoundsOn, Literal["external", "internal", "silent"]] = rows(
        "What sounds, for each of intruder-full, intruder-part, intruder-exit, intruder-entry, exit-error, and of tamper, hold-up and "
        "24-hour with -unset and -set."
    )
    shared_zones: Literal["each", "all"] = may("A zone of several areas is answered in each, or only when all of them are set.", "each")
    lobby_sets: Literal["exit", "at-once"] = may("A shared area follows the last of its areas with an exit time, or at once.", "exit")
    confirm_s: Seconds | None = may("Time in which an alarm of a second zone confirms the first; silent for no confirmation.")
    confirm_in_entry: bool = may("Alarms after entry has begun count towards confirmation.", False)
    unconfirmed: Literal["watched", "inhibited"] = may(
        "A zone that still stands open when nothing confirmed its alarm in time: watched on, or inhibited until unset.", "watched"
    )
    entry_alarm_s: Seconds | None = may("An alarm during entry is signalled after this time and the entry time; silent for as any other.")
    blind_s: Seconds | None = may("How long inputs are ignored when power has come back after a total loss; silent for not at all.")


@dataclass(frozen=True, kw_only=True, slots=True)
class OutputRule:
    """What a switched output follows."""

    terminal: Annotated[str, TerminalRef("outputs")] = need("The output.")
    follows: Text = need("The event it follows.")
    duration_s: Seconds | None = may("How long; silent for as long as the event.")
    how: Literal["follow", "pulse", "latch", "timed"] = may("As long as the event, a pulse, until cleared, or for a time.", "follow")
    rest: Literal["off", "on"] = may("Polarity: off at rest and on with the event, or the other way.", "off")
    load_a: Amperes | None = may("Current of what hangs on it, where that stands in no cable run.")
    load_v: Volts | None = may("Volts of what hangs on it, likewise.")


@dataclass(frozen=True, kw_only=True, slots=True)
class Path:
    """One transmission path."""

    kind: Text = need("ip, cellular, line, ...")
    equipment: Annotated[str, Ref("equipment")] | None = may("The equipment that carries it.")
    category: Text = may("Category promised.", "")


@dataclass(frozen=True, kw_only=True, slots=True)
class Signalling:
    """What is sent to whom. Accounts and keys are secrets and never stand in this document."""

    centre: Annotated[str, Ref("parties")] | None = may("The receiving centre.")
    paths: Mapping[str, Path] = rows("Transmission paths.")
    reports: Mapping[str, Literal["yes", "no", "local"]] = rows("For each event: yes, no, or local.")

    def sends(self, event: str) -> bool:
        """Return whether an event is reported to a receiving centre."""
        return self.centre is not None and self.reports.get(event) == "yes"


@dataclass(frozen=True, kw_only=True, slots=True)
class Observation:
    """One thing seen or measured, dated and signed."""

    at: Moment = need("Day, and time of day where it was noted.")
    by: Text = need("Who.")
    where: Text = need("Terminals or place.")
    state: Text = may("State of the system or the action done.", "")
    reading: Text = need("What was read, as displayed.")
    instrument: Text = may("Instrument.", "")


@dataclass(frozen=True, kw_only=True, slots=True)
class Job:
    """One premises. ``given`` holds the path of every field that stood in the text: what is not in it is a default."""

    format: int = need("Format version of the document.")
    title: Text = need("Title of the job.")
    premises: Premises = need("The building.")
    region: Region = need("Country, rules and units.")
    stage: Stage = may("Where the work stands.", Stage.DESIGN)
    parties: Mapping[str, Party] = rows("People and firms.")
    storeys: Mapping[str, Storey] = rows("Storeys and rooms.")
    sheets: Sheets = may("Data sheets.", Sheets())
    equipment: Mapping[str, Equipment] = rows("Everything that is fitted.")
    joints: Mapping[str, Joint] = rows("Junction boxes.")
    cables: Mapping[str, Cable] = rows("Cable runs.")
    circuits: Mapping[str, Circuit] = rows("Detection circuits.")
    areas: Mapping[str, Area] = rows("Areas.")
    zones: Mapping[str, Zone] = rows("Zones.")
    users: Mapping[str, User] = rows("Users by role.")
    programme: Programme = may("Part sets and times.", Programme())
    outputs: Mapping[str, OutputRule] = rows("What the switched outputs follow.")
    signalling: Signalling = may("Paths and reports.", Signalling())
    observations: tuple[Observation, ...] = may("What was seen and measured.", ())
    given: frozenset[str] = field(default=frozenset(), repr=False, compare=False)

    def sheet_of(self, equipment_id: str) -> EquipmentSheet:
        """Return the data sheet of a piece of equipment. Raises KeyError when there is no such equipment."""
        return self.sheets.equipment[self.equipment[equipment_id].sheet]
