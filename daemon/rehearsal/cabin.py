"""The emulated cabin: the shared zone model, driven by a night's setting."""

from dataclasses import dataclass

from cabinvigil.daemon.air import readings
from cabinvigil.daemon.air.atmosphere import OutsideAir, pressure_hpa
from cabinvigil.daemon.air.breathing import Person, together
from cabinvigil.daemon.air.moisture import surface_c
from cabinvigil.daemon.air.vents import Vents, vent_m3_s
from cabinvigil.daemon.air.zone import (
    Inputs,
    Surface,
    Zone,
    ZoneState,
    air_changes_per_h,
    air_m3_s,
    outdoor_state,
    step,
)
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.nights import NamedNight, NightSetting, setting_at
from cabinvigil.daemon.settings.values import Cabin

CUT_OFF_O2_PCT = 18.0
"""An unvented heater's own oxygen cut-off acts here (US CPSC 1980, check value
`ods_18`)."""
LEL_PROPANE_PCT = 1.7
"""Lower explosive limit by IEC 60079-20-1, the safe side (check value
`fuel_flammability`)."""
GLASS_M2 = 1.2
WALL_M2 = 26.0
"""Walls, roof and floor of a trailer of 11 m3."""
START_C = 14.0
"""Aired out after supper, the lining still warm."""
HEAT_CAPACITY_J_K = 250e3
"""Air, lining, bunks and bedding that warm within hours: own estimate for the trailer,
which heats by 20 K in about an hour and a half on high."""
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
        self._leak_per_h = _or(figures.leak_per_h, 0.15)
        self._outside_rh_pct = _or(figures.outside_rh_pct, 85.0)
        self._glass_u = _or(figures.glass_u_w_m2k, 2.9)
        self._vents = (
            _or(figures.vent_low_cm2, 150.0),
            _or(figures.vent_high_cm2, 150.0),
            _or(figures.vent_height_m, 1.6),
        )
        wall_w_k = _or(figures.wall_w_k, 28.0)
        self.zone = Zone(
            volume_m3=_or(figures.volume_m3, 11.0),
            wall_w_k=wall_w_k,
            heat_capacity_j_k=HEAT_CAPACITY_J_K,
            pressure_hpa=pressure_hpa(_or(figures.altitude_m, 640.0)),
            surfaces=(
                Surface(GLASS_M2, self._glass_u),
                Surface(WALL_M2, (wall_w_k - GLASS_M2 * self._glass_u) / WALL_M2),
            ),
        )
        self._setting = setting_at(night, 0.0)
        outside = OutsideAir(self._setting.outside_c, self._outside_rh_pct)
        self._state = outdoor_state(self.zone, outside, START_C)
        self._at_s = 0.0
        self._cut_off = False
        self._person = Person()
        self._changes_per_h = 0.0

    def advance(self, to_s: float) -> None:
        """Live on until `to_s`, in the model's steps."""
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

    def _burn_kw(self, setting: NightSetting) -> float:
        return 0.0 if self._cut_off else setting.burner_kw

    def _inputs(self, setting: NightSetting, state: ZoneState) -> Inputs:
        outside = OutsideAir(setting.outside_c, self._outside_rh_pct)
        low, high, apart = self._vents
        vents = Vents(low, high, apart, setting.low_open, setting.high_open)
        entering = vent_m3_s(
            vents, state.temp_c, setting.outside_c, setting.wind_mps
        ) + air_m3_s(self.zone, state.temp_c, setting.outside_c, self._leak_per_h)
        return Inputs(
            outside,
            entering,
            self._burn_kw(setting),
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
            pm2_5_ugm3=setting.pm2_5_ugm3,
            supply_v=setting.supply_v,
            supply_a=setting.supply_a,
        )

    def truth(self) -> Truth:
        """Return what is so, for whoever scores the watch."""
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
            water_on_walls_kg=sum(state.film_kg) + state.drained_kg,
            gas_lel_pct=100.0 * state.fuel / (LEL_PROPANE_PCT / 100.0),
        )


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value
