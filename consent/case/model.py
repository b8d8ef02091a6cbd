"""The case: what the clinic knows of one patient, one eye and one operation."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field, model_validator

from consent.case.acuity import Acuity, parse_acuity
from consent.case.after import Day1, Done, Lens, Visit
from consent.case.agreement import disagreements
from consent.case.answers import (
    Anaesthesia,
    Answer,
    Asked,
    ExtraStep,
    Glaucoma,
    LightProjection,
    NucleusGrade,
    Operation,
    Payer,
    PupilGrade,
    Retinopathy,
    Side,
    SurgeonGrade,
    TearSac,
    Ultrasound,
)
from consent.case.decisions import CapSeen, DropChange, OwnDrop, PointAnswer
from consent.case.part import AcuityText, LongText, Part, ShortText
from consent.case.patient import OLDEST, YOUNGEST, Patient
from consent.case.talk import Confirmation, Talk

SCHEMA_VERSION = 1


class Allergy(Part):
    substance: ShortText
    reaction: ShortText = "not recorded"
    severe: Answer = Answer.UNKNOWN


class Allergies(Part):
    """Allergies asked for, and what was answered. "not asked" is not "none"."""

    asked: Asked = Asked.NOT_ASKED
    known: tuple[Allergy, ...] = ()

    @model_validator(mode="after")
    def _agree(self) -> Allergies:
        if (self.asked is Asked.KNOWN) != bool(self.known):
            raise ValueError('allergies: asked = "known" goes with at least one entry under known, and only then')
        return self


class AlphaBlocker(Part):
    """An alpha-blocker ever taken: the iris remembers."""

    ever: Answer = Answer.UNKNOWN
    drugs: tuple[
        Literal["tamsulosin", "alfuzosin", "doxazosin", "terazosin", "silodosin", "prazosin", "other"], ...
    ] = ()
    taking_now: Answer = Answer.UNKNOWN

    @model_validator(mode="after")
    def _agree(self) -> AlphaBlocker:
        if self.ever is Answer.NO and (self.drugs or self.taking_now is Answer.YES):
            raise ValueError('alpha_blocker: ever = "no" goes with no drug named and none taken now')
        return self


class Health(Part):
    diabetes: Answer = Answer.UNKNOWN
    diabetes_controlled: Answer = Answer.UNKNOWN
    insulin_for_long: Answer = Field(Answer.UNKNOWN, description="diabetes treated with insulin for many years")
    high_blood_pressure: Answer = Answer.UNKNOWN
    heart_block_or_slow_pulse: Answer = Answer.UNKNOWN
    heart_failure: Answer = Answer.UNKNOWN
    heart_disease: Answer = Field(Answer.UNKNOWN, description="any other disease of heart or great vessels")
    overactive_thyroid: Answer = Answer.UNKNOWN
    asthma: Answer = Answer.UNKNOWN
    copd: Answer = Answer.UNKNOWN
    aspirin_wheeze_or_polyps: Answer = Answer.UNKNOWN
    kidney_disease: Answer = Answer.UNKNOWN
    liver_disease: Answer = Answer.UNKNOWN
    adrenal_failure: Answer = Answer.UNKNOWN
    low_sodium_or_potassium: Answer = Answer.UNKNOWN
    sickle_cell: Answer = Answer.UNKNOWN
    connective_tissue_disease: Answer = Answer.UNKNOWN
    prostate_trouble: Answer = Field(Answer.UNKNOWN, description="urine is hard to pass")
    confusion: Answer = Field(Answer.UNKNOWN, description="confused now, or easily confused by medicines")
    glaucoma_in_close_relative: Answer = Field(Answer.UNKNOWN, description="parent, brother, sister or child")
    immune_suppression: Answer = Answer.UNKNOWN
    pregnant: Answer = Answer.UNKNOWN
    breastfeeding: Answer = Answer.UNKNOWN
    alpha_blocker: AlphaBlocker = AlphaBlocker()
    anticoagulant: Answer = Answer.UNKNOWN
    antiplatelet: Answer = Answer.UNKNOWN
    can_lie_flat: Answer = Answer.UNKNOWN
    can_lie_still: Answer = Answer.UNKNOWN
    cough_or_tremor: Answer = Field(Answer.UNKNOWN, description="a cough or shaking that does not stop")
    allergies: Allergies = Allergies()
    medicines: tuple[ShortText, ...] = ()


class Nucleus(Part):
    grade: NucleusGrade = NucleusGrade.UNKNOWN
    locs_opalescence: float | None = Field(None, ge=0.1, le=6.9, description="LOCS III nuclear opalescence, 0.1-6.9")
    locs_colour: float | None = Field(None, ge=0.1, le=6.9, description="LOCS III nuclear colour, 0.1-6.9")


class Eye(Part):
    """The eye to be operated."""

    side: Side
    acuity_unaided: AcuityText | None = None
    acuity_corrected: AcuityText | None = None
    acuity_explained: Answer = Field(Answer.UNKNOWN, description="the cataract explains how badly the eye sees")
    lens_implant_present: Answer = Answer.UNKNOWN
    nucleus: Nucleus = Nucleus()
    white: Answer = Field(Answer.UNKNOWN, description="white or intumescent cataract")
    posterior_polar: Answer = Answer.UNKNOWN
    posterior_subcapsular: Answer = Answer.UNKNOWN
    traumatic: Answer = Answer.UNKNOWN
    pupil_mm: float | None = Field(None, ge=1.0, le=10.0, description="pupil after dilating drops, mm")
    pupil_grade: PupilGrade = PupilGrade.UNKNOWN
    pseudoexfoliation: Answer = Answer.UNKNOWN
    phacodonesis: Answer = Answer.UNKNOWN
    chamber_depth_mm: float | None = Field(None, ge=1.0, le=6.0, description="anterior chamber depth, mm")
    axial_length_mm: float | None = Field(None, ge=18.0, le=38.0, description="axial length, mm")
    guttata: Answer = Answer.UNKNOWN
    endothelial_cells_per_mm2: int | None = Field(None, ge=200, le=5000, description="endothelial cells per mm2")
    corneal_scar: Answer = Answer.UNKNOWN
    fundus_seen: Answer = Answer.UNKNOWN
    glaucoma: Glaucoma = Glaucoma.UNKNOWN
    glaucoma_drops: tuple[ShortText, ...] = ()
    pressure_mmhg: float | None = Field(None, ge=0.0, le=80.0, description="eye pressure, mmHg")
    retinopathy: Retinopathy = Retinopathy.UNKNOWN
    macular_oedema: Answer = Answer.UNKNOWN
    other_macular_disease: Answer = Answer.UNKNOWN
    epiretinal_membrane: Answer = Answer.UNKNOWN
    vein_occlusion: Answer = Answer.UNKNOWN
    uveitis: Answer = Answer.UNKNOWN
    previous_vitrectomy: Answer = Answer.UNKNOWN
    injections_into_eye: int | None = Field(None, ge=0, le=200, description="injections into the eye, count")
    previous_detachment: Answer = Answer.UNKNOWN
    previous_trauma: Answer = Answer.UNKNOWN
    refractive_surgery: Answer = Answer.UNKNOWN
    surface_disease: Answer = Answer.UNKNOWN
    epithelial_defect: Answer = Field(Answer.UNKNOWN, description="the epithelium of the cornea is not whole")
    corneal_sensation_reduced: Answer = Answer.UNKNOWN
    other_corneal_infection: Answer = Field(Answer.UNKNOWN, description="active, other than herpes simplex")
    lid_infection: Answer = Answer.UNKNOWN
    herpes_keratitis: Literal["never", "past", "active", "unknown"] = "unknown"
    amblyopia: Answer = Answer.UNKNOWN
    steroid_response_self: Answer = Answer.UNKNOWN
    steroid_response_family: Answer = Answer.UNKNOWN
    light_projection: LightProjection = LightProjection.NOT_TESTED
    afferent_pupil_defect: Answer = Answer.UNKNOWN
    ultrasound: Ultrasound = Ultrasound.NOT_DONE

    @property
    def corrected(self) -> Acuity | None:
        """Best corrected acuity, parsed."""
        return parse_acuity(self.acuity_corrected) if self.acuity_corrected else None

    @property
    def unaided(self) -> Acuity | None:
        """Unaided acuity, parsed."""
        return parse_acuity(self.acuity_unaided) if self.acuity_unaided else None


class OtherEye(Part):
    acuity: AcuityText | None = None
    seeing: Answer = Answer.UNKNOWN
    operated: Answer = Answer.UNKNOWN
    operated_on: dt.date | None = None
    regimen: ShortText | None = Field(None, description="id of the regimen it is still on since operated_on")
    complication: Answer = Answer.UNKNOWN
    axial_length_mm: float | None = Field(None, ge=18.0, le=38.0, description="axial length, mm")
    refraction_d: float | None = Field(None, ge=-30.0, le=20.0, description="spherical equivalent, dioptres")

    @model_validator(mode="after")
    def _regimen_has_a_day(self) -> OtherEye:
        if self.regimen is not None and self.operated_on is None:
            raise ValueError("other_eye: regimen goes with operated_on, the day its drops are counted from")
        if self.regimen is not None and self.operated is not Answer.YES:
            raise ValueError('other_eye: regimen goes with operated = "yes"')
        return self

    @property
    def parsed(self) -> Acuity | None:
        """Acuity, parsed."""
        return parse_acuity(self.acuity) if self.acuity else None


class Fitness(Part):
    tear_sac: TearSac = TearSac.NOT_EXAMINED
    systolic_mmhg: int | None = Field(None, ge=50, le=300, description="systolic blood pressure, mmHg")
    diastolic_mmhg: int | None = Field(None, ge=20, le=200, description="diastolic blood pressure, mmHg")
    blood_pressure_on: dt.date | None = None
    sugar_mg_dl: int | None = Field(None, ge=10, le=1000, description="random blood sugar, mg/dL")
    sugar_on: dt.date | None = None
    inr: float | None = Field(None, ge=0.5, le=20.0, description="INR")
    inr_on: dt.date | None = None
    heart_attack_or_stroke_within_3_months: Answer = Answer.UNKNOWN
    fever: Answer = Answer.UNKNOWN
    infection_elsewhere: Answer = Answer.UNKNOWN


class Measurement(Part):
    method: ShortText | None = None
    by: ShortText | None = None
    on: dt.date | None = None
    side: Side | None = Field(None, description="the eye the lens power was worked out for")
    corneal_power_d: float | None = Field(None, ge=30.0, le=60.0, description="mean corneal power, dioptres")
    other_eye_corneal_power_d: float | None = Field(None, ge=30.0, le=60.0, description="mean corneal power, dioptres")
    formula: ShortText | None = None
    target_d: float | None = Field(None, ge=-10.0, le=5.0, description="target refraction, dioptres")


class Surgeon(Part):
    name: ShortText
    registration: ShortText | None = None
    grade: SurgeonGrade | None = None


class Helper(Part):
    """Somebody besides the surgeon who does an important part of the operation or of the anaesthesia."""

    name: ShortText
    role: Literal["surgeon", "surgeon in training", "anaesthetist", "nurse", "optometrist", "technician", "student"]
    task: ShortText


class Plan(Part):
    side: Side = Field(description="the eye, written a second time on purpose")
    operation: Operation = Operation.PHACO
    anaesthesia: Anaesthesia | None = None
    lens: Lens | None = None
    fallback_lenses: tuple[Lens, ...] = ()
    fallback_in_consent: Answer = Field(Answer.UNKNOWN, description="another lens than the first choice may be used")
    dye: Answer = Answer.UNKNOWN
    pupil_expansion: Answer = Answer.UNKNOWN
    capsular_tension_ring: Answer = Answer.UNKNOWN
    other_operation_considered: Answer = Answer.UNKNOWN
    reasons: tuple[
        Literal[
            "hard lens",
            "white lens",
            "small pupil",
            "weak cornea",
            "weak threads",
            "small cut heals sooner",
            "one step for two diseases",
            "what this centre does best",
        ],
        ...,
    ] = Field((), description="why the surgeon advises this operation and not another")
    extra_steps: tuple[ExtraStep, ...] = ()
    injected_antibiotic: Answer = Answer.UNKNOWN
    injected_antibiotic_drug: ShortText | None = None
    theatre_drugs: tuple[ShortText, ...] = ()
    surgeon: Surgeon
    trainee_may_operate: Answer = Answer.UNKNOWN
    others: tuple[Helper, ...] = ()
    examined_for_teaching: Answer = Field(Answer.UNKNOWN, description="examined or treated by learners, for teaching")
    emergency_reason: LongText | None = Field(None, description="why surgery cannot wait for consent in full")
    date: dt.date
    time: dt.time | None = None
    place: ShortText | None = None
    payer: Payer = Payer.UNKNOWN
    cost: ShortText | None = Field(None, description="what the patient pays, as it is to be printed")
    extra_cost_paid_by: ShortText | None = None
    camp: Answer = Answer.UNKNOWN
    photographs: Answer = Answer.UNKNOWN
    regimen: ShortText | None = Field(None, description="id of one of the clinic's regimens")
    tablets: tuple[ShortText, ...] = Field((), description='tablets ordered besides, such as "acetazolamide 250 mg"')
    companion: Answer = Answer.UNKNOWN


class FiguresAcceptance(Part):
    """The surgeon's acceptance that the personal figures of this case may reach the patient."""

    by: ShortText
    registration: ShortText | None = None
    at: dt.datetime
    figures: tuple[ShortText, ...] = Field(
        (), description="what was accepted, as the record keeps it; without it, whatever stands in the case"
    )


class Case(Part):
    """One patient, one eye, one operation."""

    schema_version: Literal[1] = Field(alias="schema")
    invented: bool = Field(False, description="a demonstration case: every sheet says so")
    patient: Patient
    health: Health = Health()
    eye: Eye
    other_eye: OtherEye = OtherEye()
    fitness: Fitness = Fitness()
    measurement: Measurement = Measurement()
    plan: Plan
    talk: Talk = Talk()
    confirmation: Confirmation | None = None
    figures_accepted: FiguresAcceptance | None = None
    visits: tuple[Visit, ...] = ()
    own_drops: tuple[OwnDrop, ...] = ()
    drop_changes: tuple[DropChange, ...] = ()
    caps_seen: tuple[CapSeen, ...] = ()
    answers: tuple[PointAnswer, ...] = ()
    done: Done | None = None
    day1: Day1 | None = None
    version: int = Field(1, ge=1, le=999)

    @model_validator(mode="after")
    def _parts_agree(self) -> Case:
        if found := list(disagreements(self)):
            raise ValueError("; ".join(found))
        return self

    @model_validator(mode="after")
    def _adult_on_the_day(self) -> Case:
        if not YOUNGEST <= self.age_years <= OLDEST:
            raise ValueError(
                f"patient.birth_date makes the patient {self.age_years} years old on plan.date; "
                f"this program is for adults of {YOUNGEST} to {OLDEST} years"
            )
        return self

    @property
    def regimen(self) -> str | None:
        """Id of the regimen ordered: after surgery, else with the plan."""
        return (self.done.regimen if self.done else None) or self.plan.regimen

    @property
    def agreed_steps(self) -> tuple[ExtraStep, ...]:
        """The extra steps on the form that the patient did not say no to when signing it."""
        return tuple(step for step in self.plan.extra_steps if step not in self.talk.steps_refused)

    @property
    def all_visits(self) -> tuple[Visit, ...]:
        """Every visit by day, where the patient is sent on among them."""
        referral = self.done.referral if self.done else None
        sent = referral.expected_on if referral else None
        known = any(visit.date == sent and visit.kind == "referral" for visit in self.visits)
        added = () if sent is None or known else (Visit(kind="referral", date=sent),)
        return tuple(sorted((*self.visits, *added), key=lambda visit: visit.date))

    @property
    def glasses_on(self) -> dt.date | None:
        """The day glasses are tested, where there is such a visit."""
        return next((visit.date for visit in self.visits if visit.kind == "spectacles"), None)

    @property
    def age_years(self) -> int:
        """Age on the day of surgery, whole years."""
        return self.patient.age_on(self.plan.date)
