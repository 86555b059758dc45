"""The emulated cabin: the shared zone model, driven by a night's setting."""

import math
from dataclasses import dataclass, replace

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import O2_DRY_PCT, OutsideAir, pressure_hpa
from cabinvigil.daemon.air.breathing import Person, together
from cabinvigil.daemon.air.cabin import cabin_zone
from cabinvigil.daemon.air.combustion import PROPANE, mix
from cabinvigil.daemon.air.figures import (
    AIRED_C,
    ALTITUDE_M,
    CUT_OFF_O2_PCT,
    EXAMPLE,
    FRESH_CO2_PPM,
    OUTSIDE_RH_PCT,
    VENT_HEIGHT_M,
    glass_u,
    leak_per_h,
    stated_of_shell,
)
from cabinvigil.daemon.air.moisture import surface_c, vapour_hpa
from cabinvigil.daemon.air.vents import Vents, vent_m3_s
from cabinvigil.daemon.air.zone import (
    Inputs,
    ZoneState,
    air_changes_per_h,
    air_m3_s,
    outdoor_state,
    step,
)
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.nights import NamedNight, NightSetting, setting_at
from cabinvigil.daemon.settings.values import Cabin

LEL_PROPANE_PCT = 1.7
"""Lower explosive limit by IEC 60079-20-1, the safe side (check value
`fuel_flammability`)."""
STEP_S = 10.0
"""The model's own step; exact at any length while nothing changes within it."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What is really so, which no sensor sees exactly."""

    time_s: float
    o2_pct: float
    co2_ppm: float
    co_ppm: float
    rh_pct: float
    temp_c: float
    air_changes_per_h: float
    burn_kw: float
    people: float
    glass_c: float
    water_on_walls_kg: float
    gas_lel_pct: float


class EmulatedCabin:
    """A cabin that lives through one night."""

    def __init__(self, figures: Cabin, night: NamedNight) -> None:
        """Air it out; the night begins."""
        self._night = night
        volume_m3 = figures.volume_m3
        walls_w_k = stated_of_shell(figures.wall_w_k, EXAMPLE.wall_w_k, volume_m3)
        leak = stated_of_shell(figures.leak_per_h, EXAMPLE.leak_per_h, volume_m3)
        _, self._leak_per_h, _ = leak_per_h(leak)
        self._outside_rh_pct = _or(figures.outside_rh_pct, OUTSIDE_RH_PCT)
        self._outside_co2_ppm = _or(figures.outdoor_co2_ppm, FRESH_CO2_PPM)
        self._glass_u = glass_u(figures.glass_u_w_m2k)
        self._fuel = mix(figures.fuel, by="mass") if figures.fuel else PROPANE
        self._vents = (
            _or(figures.vent_low_cm2, EXAMPLE.vent_low_cm2),
            _or(figures.vent_high_cm2, EXAMPLE.vent_high_cm2),
            _or(figures.vent_height_m, VENT_HEIGHT_M),
        )
        self.zone = cabin_zone(
            _or(volume_m3, EXAMPLE.volume_m3),
            pressure_hpa(_or(figures.altitude_m, ALTITUDE_M)),
            wall_w_k=walls_w_k,
            glass_u_w_m2k=figures.glass_u_w_m2k,
        )
        self._setting = setting_at(night, 0.0)
        self._state = outdoor_state(self.zone, self._outside(self._setting), AIRED_C)
        self._at_s = self._now_s = 0.0
        self._cut_off = False
        self._person = Person()
        self._changes_per_h = 0.0

    def advance(self, to_s: float) -> None:
        """Live on until `to_s`, in the model's steps."""
        self._now_s = max(self._now_s, to_s)
        while self._at_s + STEP_S <= to_s:
            self._setting = setting_at(self._night, self._at_s)
            inputs = self._inputs(self._setting, self._state)
            self._changes_per_h = air_changes_per_h(
                self.zone, self._state.temp_c, inputs
            )
            self._state = step(self.zone, self._state, inputs, STEP_S)
            self._at_s += STEP_S
            if readings.o2_pct(self._state) <= CUT_OFF_O2_PCT:
                self._cut_off = True
            elif self._setting.burner_kw <= 0.0:
                self._cut_off = False  # turned off: whoever lights it next starts anew

    def _burn_kw(self, setting: NightSetting) -> float:
        return 0.0 if self._cut_off else setting.burner_kw

    def _outside(self, setting: NightSetting) -> OutsideAir:
        return OutsideAir(
            setting.outside_c, self._outside_rh_pct, self._outside_co2_ppm
        )

    def _inputs(self, setting: NightSetting, state: ZoneState) -> Inputs:
        low, high, apart = self._vents
        vents = Vents(low, high, apart, setting.low_open, setting.high_open)
        entering = vent_m3_s(
            vents, state.temp_c, setting.outside_c, setting.wind_mps
        ) + air_m3_s(self.zone, state.temp_c, setting.outside_c, self._leak_per_h)
        return Inputs(
            self._outside(setting),
            entering,
            self._burn_kw(setting),
            self._fuel,
            co_fraction=setting.co_fraction,
            leak_mol_s=setting.leak_mol_s,
            people=together(setting.people, self._person),
        )

    @property
    def glass_c(self) -> float:
        """Inner face of the pane."""
        return surface_c(self._state.temp_c, self._setting.outside_c, self._glass_u)

    def air_now(self) -> AirNow:
        """Return what the parts sit in."""
        state, setting = self._state, self._setting
        return AirNow(
            o2_pct=readings.o2_pct(state),
            co2_ppm=readings.co2_ppm(state),
            co_ppm=readings.co_ppm(state),
            gas_lel_pct=100.0 * state.fuel / (LEL_PROPANE_PCT / 100.0),
            temp_c=state.temp_c,
            rh_pct=min(readings.rh_pct(self.zone, state), 100.0),
            pressure_hpa=self.zone.pressure_hpa,
            glass_c=self.glass_c,
            outside_c=setting.outside_c,
            outside_rh_pct=self._outside_rh_pct,
            pm2_5_ugm3=setting.pm2_5_ugm3,
            supply_v=setting.supply_v,
            supply_a=setting.supply_a,
            charge_pct=setting.charge_pct,
            contacts=self._contacts(),
        )

    def _contacts(self) -> frozenset[str]:
        """Return what contacts tell of now: nothing of the air delays them."""
        now = setting_at(self._night, self._now_s)
        states = {
            "smoke": now.smoke_alarm,
            "gas": now.gas_alarm,
            "co": now.co_alarm,
            "door": now.door_open,
            "bilge": now.bilge_float,
        }
        return frozenset(means for means, state in states.items() if state >= 1.0)

    def truth(self) -> Truth:
        """Return what is so, for whoever scores the monitor."""
        state = self._state
        return Truth(
            time_s=self._at_s,
            o2_pct=readings.o2_pct(state),
            co2_ppm=readings.co2_ppm(state),
            co_ppm=readings.co_ppm(state),
            rh_pct=readings.rh_pct(self.zone, state),
            temp_c=state.temp_c,
            air_changes_per_h=self._changes_per_h,
            burn_kw=self._burn_kw(self._setting),
            people=self._setting.people,
            glass_c=self.glass_c,
            water_on_walls_kg=math.fsum(state.film_kg) + state.drained_kg,
            gas_lel_pct=100.0 * state.fuel / (LEL_PROPANE_PCT / 100.0),
        )


def fresh_air(figures: Cabin) -> AirNow:
    """Return what the parts sit in while the doors are open, at the cabin's height."""
    usual = AirNow()
    hpa = pressure_hpa(_or(figures.altitude_m, ALTITUDE_M))
    wet = vapour_hpa(usual.temp_c, usual.rh_pct) / hpa
    pane_c = usual.glass_c
    if figures.outside_c is not None:
        u = glass_u(figures.glass_u_w_m2k)
        pane_c = round(surface_c(usual.temp_c, figures.outside_c, u), 2)
    return replace(
        usual,
        glass_c=pane_c,
        o2_pct=round(O2_DRY_PCT * (1.0 - wet), 2),
        co2_ppm=_or(figures.outdoor_co2_ppm, FRESH_CO2_PPM),
        pressure_hpa=hpa,
    )


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value
