"""Data sheets as records: what a maker's paper says about a piece of kit, entered once and used by every figure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Literal

from loopwright.job.field import (
    AmpereHours,
    Amperes,
    BatteryVolts,
    Count,
    Degrees,
    DischargeAmperes,
    DischargeHours,
    Gauge,
    Keyable,
    LongText,
    Metres,
    Nanofarads,
    Ohms,
    OhmsPerKm,
    OneOrMore,
    Percent,
    PicofaradsPerMetre,
    Quantity,
    ResistorOhms,
    Seconds,
    Share,
    Text,
    VoltAmperes,
    Volts,
    WorkingVolts,
    may,
    need,
    rows,
)


class SystemState(StrEnum):
    """The states of the whole system in which currents are stated and volts are forecast."""

    UNSET = "unset"
    SET = "set"
    ENTRY = "entry"
    ALARM = "alarm"


STATES = tuple(SystemState)


class Kind(StrEnum):
    """What a piece of equipment is, in the trade's words."""

    CONTROL = "control-unit"
    MODULE = "module"
    KEYPAD = "keypad"
    SUPPLY = "power-supply"
    DETECTOR = "detector"
    CONTACT = "contact"
    SOUNDER = "sounder"
    STROBE = "strobe"
    COMMUNICATOR = "communicator"
    HOLD_UP = "hold-up-device"
    READER = "reader"
    LIFE_SAFETY = "life-safety-device"
    OTHER = "other"


class LoadLaw(StrEnum):
    """How the current of a load follows its volts, above its minimum working volts."""

    CURRENT = "constant-current"
    POWER = "constant-power"
    RESISTIVE = "resistive"


class Topology(StrEnum):
    """How the resistors of a detection circuit stand."""

    NONE = "none"
    SINGLE = "single"
    DOUBLE = "double"
    TRIPLE = "triple"
    PAIR = "two-zones"


class Reads(StrEnum):
    """What a control unit may take a circuit's resistance for."""

    SHORT = "short"
    REST = "rest"
    ACTIVE = "active"
    FAULT = "fault"
    BOTH = "active-and-fault"
    OPEN = "open"


@dataclass(frozen=True, kw_only=True, slots=True)
class Draw:
    """What one supply input of a piece of equipment takes."""

    unset_a: Amperes = need("Current with the system unset, at nominal volts.")
    set_a: Amperes | None = may("Current with the system set; as unset when silent.")
    entry_a: Amperes | None = may("Current during entry; as set when silent.")
    alarm_a: Amperes | None = may("Current in alarm, all devices active; as set when silent.")
    min_v: Volts = need("Minimum working volts at the equipment's own terminals.")
    max_v: Volts | None = may("Maximum working volts at the equipment's own terminals.")
    nominal_v: WorkingVolts = may("Volts at which the currents are stated.", 12.0)
    law: LoadLaw = may("How the current follows the volts.", LoadLaw.CURRENT)

    def amperes(self) -> tuple[float, float, float, float]:
        """Return the current [A] in unset, set, entry, alarm, silent ones filled in."""
        set_a = self.unset_a if self.set_a is None else self.set_a
        entry_a = set_a if self.entry_a is None else self.entry_a
        return (self.unset_a, set_a, entry_a, set_a if self.alarm_a is None else self.alarm_a)


class RestPosition(StrEnum):
    """Where a contact stands at rest."""

    CLOSED = "closed"
    OPEN = "open"


@dataclass(frozen=True, kw_only=True, slots=True)
class ContactSheet:
    """One contact of a detector: alarm, tamper or fault."""

    rest: RestPosition = may("Position at rest: closed (opens when active) or open (closes when active).", RestPosition.CLOSED)
    closed_ohm: Ohms = may("Resistance when closed, protective resistor included.", 0.2)
    closed_tolerance_ohm: Ohms = may("How far the closed resistance may lie to either side.", 0.1)


@dataclass(frozen=True, kw_only=True, slots=True)
class Supervision:
    """How a control unit watches the cable of a switched output while it is off."""

    resistor_ohm: ResistorOhms = need("Resistor the output wants to see across the far end.")
    pull_up_v: WorkingVolts = may("Watching volts behind the watching resistance.", 5.0)
    pull_up_ohm: ResistorOhms = may("Watching resistance.", 4700.0)
    short_below_ohm: Ohms = need("Below this the output is taken as shorted.")
    open_above_ohm: Ohms = need("Above this the output is taken as cut.")


@dataclass(frozen=True, kw_only=True, slots=True)
class OutputSheet:
    """A pair of supply terminals that feeds other equipment."""

    limit_a: Amperes = need("Most current the output may give.")
    path_ohm: Ohms = may("Resistance of fuse, switch and tracks behind the terminal.", 0.1)
    diode_v: Volts = may("Drop of a blocking diode behind the terminal; 0 when there is none.", 0.0)
    on_in: tuple[SystemState, ...] = may("States in which the output is live.", STATES)
    contact_v: Volts | None = may("Most volts its contact may switch, for a contact that gives none of its own.")
    supervision: Supervision | None = may("How the cable is watched while the output is off; silent when it is not.")


@dataclass(frozen=True, kw_only=True, slots=True)
class Band:
    """One band of loop resistance and what the control unit takes it for. Between bands nothing is promised."""

    reads: Reads = need("What the control unit takes it for.")
    from_ohm: Ohms = may("Lower edge.", 0.0)
    to_ohm: Ohms | None = may("Upper edge; silent for no upper edge.")


@dataclass(frozen=True, kw_only=True, slots=True)
class ResistorSet:
    """The resistor values a circuit of one topology is built with."""

    end_ohm: ResistorOhms | None = may("End-of-line resistor.")
    alarm_ohm: ResistorOhms | None = may("Resistor across the alarm contact (of zone A, for two zones on one pair).")
    fault_ohm: ResistorOhms | None = may("Resistor across the fault contact (or zone B's contact, for two zones on one pair).")


@dataclass(frozen=True, kw_only=True, slots=True)
class InputsSheet:
    """The detection-circuit inputs of a control unit or module, all alike."""

    count: Count = need("How many inputs there are, numbered from 1.")
    pull_up_v: WorkingVolts = may("Open-circuit volts at an input's terminals.", 5.0)
    pull_up_ohm: ResistorOhms = need("Resistance behind an input's terminals.")
    pull_up_tolerance_pct: Percent = may("Tolerance of that resistance.", 1.0)
    bands: Mapping[Topology, tuple[Band, ...]] = rows("For each topology the input can serve: its bands, rising.")
    resistor_sets: Mapping[Topology, ResistorSet] = rows("For each topology: the resistor values the sheet asks for.")


class Conversion(StrEnum):
    """How mains becomes low voltage."""

    SWITCH_MODE = "switch-mode"
    TRANSFORMER = "transformer"


class ChargerKind(StrEnum):
    """What limits the charging current."""

    CURRENT_LIMITED = "current-limited"
    RESISTOR = "resistor-limited"
    CONSTANT_VOLTAGE = "constant-voltage"
    NONE = "none"


@dataclass(frozen=True, kw_only=True, slots=True)
class Charger:
    """How the battery is charged."""

    kind: ChargerKind = may("What limits the charging current.", ChargerKind.CURRENT_LIMITED)
    limit_a: Amperes | None = may("Charging current limit, for a current-limited charger.")
    series_ohm: Ohms | None = may("Series resistor, for a resistor-limited charger.")
    float_v: WorkingVolts = may("Float volts at the battery terminals.", 13.7)


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplySheet:
    """A mains supply with its battery terminals."""

    conversion: Conversion = may("Switch-mode (no ac secondary) or transformer.", Conversion.SWITCH_MODE)
    output_v: WorkingVolts = need("Volts at the supply's own terminals on mains, no load.")
    source_ohm: Ohms = may("Output resistance below the current limit.", 0.05)
    limit_a: DischargeAmperes = need("Most current the supply gives, loads and charging together.")
    efficiency: Share = may("Share of the input power that comes out.", 0.8)
    transformer_va: VoltAmperes | None = may("Rating of the transformer.")
    secondary_v: Volts | None = may("Rated ac secondary volts of the transformer.")
    charger: Charger = may("How the battery is charged.", Charger())
    cut_out_v: WorkingVolts = may("Battery terminal volts on load at which the battery is disconnected.", 10.5)
    low_battery_v: Volts | None = may("Battery volts at which a low battery is shown.")
    restore_v: Volts | None = may("Battery volts at which a low battery is cleared.")
    battery_path_ohm: Ohms = may("Resistance of battery leads, fuse and lugs.", 0.05)
    largest_battery_ah: AmpereHours | None = may("Largest battery the supply may charge.")


@dataclass(frozen=True, kw_only=True, slots=True)
class BusSheet:
    """The limits of the data bus a control unit drives."""

    longest_m: Annotated[float, Quantity("m", 0.0, 20000.0)] | None = may("Longest way from the control unit to a device.")
    total_m: Annotated[float, Quantity("m", 0.0, 20000.0)] | None = may("Total length of bus cable.")
    capacitance_nf: Nanofarads | None = may("Most capacitance between the data cores.")
    shape: Literal["any", "line"] = may("Allowed shape: any, or line only.", "any")
    first_address: Count = may("Lowest address.", 1)
    last_address: Count = may("Highest address.", 32)
    terminate_ohm: Ohms | None = may("Terminating resistor at each end of the line.")


@dataclass(frozen=True, kw_only=True, slots=True)
class Setting:
    """One setting of a unit: what the factory left in it, the place where another value is entered, and how that is written there."""

    address: Text = need("Where the setting is entered, in the sheet's own words, step by step with commas; {zone}, {area} ... for a row.")
    default: Text = need("Value from the factory.")
    of: Text = may("What it holds: a place of this document, * for every row, equipment/self for its own; clock; codes/user/*.", "")
    place: OneOrMore | None = may("Its place in an entry that several settings share; by the order here when silent.")
    unit: Literal["s", "min", "h"] | None = may("Unit in which a time is keyed; seconds when silent.")
    digits: OneOrMore | None = may("How many digits are keyed, nought in front; as many as there are when silent.")
    least: Keyable | None = may("Least number it takes, in the unit in which it is keyed.")
    most: Keyable | None = may("Greatest number it takes, likewise.")
    step: Keyable | None = may("Step from one number it takes to the next; 1 when silent.")
    choices: Mapping[str, Text] = rows("For each word of the programme: what is keyed for it.")
    longest: OneOrMore | None = may("Most characters of a text.")
    characters: Text = may("Characters a text may have, such as A-Z 0-9 and a blank; any when silent.", "")
    up_to: OneOrMore | None = may("Highest number of a row in its address.")
    after: tuple[str, ...] = may("Settings that are entered before it.", ())
    turn: Literal["first", "last"] | None = may("Entered before, or after, everything else.")
    kept: bool = may("A factory restore leaves it as it is.", False)
    read_back: Text = may("How it is read back, in the sheet's own words; at its own address when silent.", "")
    clears: Text = may("The trouble that goes once it is entered, in the sheet's own words.", "")


@dataclass(frozen=True, kw_only=True, slots=True)
class KeyingSheet:
    """How a unit is brought to take settings, and what that costs in key presses."""

    way_in: Text = may("How one gets to the settings and away again, in the sheet's own words.", "")
    in_presses: Count = may("Key presses for each step of an address, going in.", 1)
    out_presses: Count = may("Key presses for each step of an address, coming out.", 1)
    letter_presses: OneOrMore = may("Key presses for a letter of a text.", 1)
    choice_presses: OneOrMore | None = may("Key presses for choosing a word; as many as it has characters when silent.")
    restore: Text = may("Where everything is put back to the factory's, in the sheet's own words; empty where nothing does that.", "")
    restore_presses: Count = may("Key presses there.", 1)
    turn: Literal["first", "last"] | None = may("Keyed before or after other units; silent: what has an address before what looks for it.")


@dataclass(frozen=True, kw_only=True, slots=True)
class EquipmentSheet:
    """The data sheet of a piece of equipment. What it can do is what blocks it has: loads, contacts, outputs, inputs, supply, bus."""

    kind: Kind = need("What it is.")
    maker: Text = need("Maker, as printed on the sheet.")
    model: Text = need("Model, as printed on the sheet.")
    invented: bool = may("True for the makers and models that exist only in examples.", False)
    provenance: LongText = may("Where the figures were read: document, edition, date.", "")
    grade: Count | None = may("Security grade the maker declares.")
    loads: Mapping[str, Draw] = rows("Supply inputs by name; most equipment has one, called supply.")
    contacts: Mapping[str, ContactSheet] = rows("Contacts by name: alarm, tamper, fault.")
    outputs: Mapping[str, OutputSheet] = rows("Supply outputs by name.")
    inputs: InputsSheet | None = may("Detection-circuit inputs.")
    supply: SupplySheet | None = may("Mains supply and battery terminals.")
    bus: BusSheet | None = may("Data bus it drives.")
    addressed: bool = may("Needs an address on the bus.", False)
    self_powered: bool = may("Has cells of its own that keep it going, or make it sound, when its supply is gone.", False)
    warm_up_s: Seconds | None = may("Time after power-up before it works.")
    after_power: Literal["as-before", "unset"] | None = may(
        "A control unit that lost all power comes back in the set state it was in, or unset."
    )
    reach_m: Metres | None = may("How far a detector sees.")
    angle_deg: Degrees | None = may("Angle a detector sees, from edge to edge.")
    settings: Mapping[str, Setting] = rows("Factory settings that the programme may have to change.")
    keying: KeyingSheet | None = may("How settings are keyed, and at what cost.")


@dataclass(frozen=True, kw_only=True, slots=True)
class DischargeRow:
    """One row of a battery's discharge table: this current is carried for these hours."""

    hours: DischargeHours = need("Hours to the cut-off volts.")
    current_a: DischargeAmperes = need("Constant current.")


@dataclass(frozen=True, kw_only=True, slots=True)
class BatterySheet:
    """A lead-acid standby battery."""

    maker: Text = need("Maker.")
    model: Text = need("Model.")
    invented: bool = may("True for what exists only in examples.", False)
    provenance: LongText = may("Where the figures were read.", "")
    capacity_ah: AmpereHours = need("Rated capacity at the 20-hour rate.")
    nominal_v: BatteryVolts = may("Nominal volts, two a cell.", 12.0)
    full_v: WorkingVolts = may("Rested open-circuit volts when full.", 12.9)
    internal_ohm: Ohms = may("Internal resistance when full.", 0.03)
    discharge: tuple[DischargeRow, ...] = may("Constant-current discharge table.", ())
    discharge_cut_off_v: WorkingVolts = may("Cut-off volts of that table.", 10.5)
    most_charge_a: Amperes | None = may("Most charging current.")


class Construction(StrEnum):
    """How a conductor is made."""

    SOLID = "solid"
    STRANDED = "stranded"


class Material(StrEnum):
    """What a conductor is made of."""

    COPPER = "copper"
    TINNED = "tinned-copper"
    CLAD = "copper-clad-aluminium"


@dataclass(frozen=True, kw_only=True, slots=True)
class CableSheet:
    """A cable as sold."""

    maker: Text = may("Maker.", "")
    model: Text = may("Name on the drum.", "")
    invented: bool = may("True for what exists only in examples.", False)
    provenance: LongText = may("Where the figures were read.", "")
    cores: OneOrMore = need("Number of cores.")
    gauge: Gauge = need("Conductor size, as AWG or mm².")
    construction: Construction = may("Solid or stranded cores.", Construction.STRANDED)
    material: Material = may("Conductor material.", Material.COPPER)
    ohm_per_km: OhmsPerKm | None = may("Resistance of one core at 20 °C as the sheet states it; from tables when silent.")
    core_to_core_pf_per_m: PicofaradsPerMetre | None = may("Capacitance between two cores.")


@dataclass(frozen=True, kw_only=True, slots=True)
class Sheets:
    """All data sheets of a job."""

    equipment: Mapping[str, EquipmentSheet] = rows("Control units, modules, keypads, supplies, detectors, sounders and the rest.")
    batteries: Mapping[str, BatterySheet] = rows("Batteries.")
    cables: Mapping[str, CableSheet] = rows("Cables.")
