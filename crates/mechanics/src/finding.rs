//! Findings: what is legal but unwelcome, said beside a value instead of refusing it. One table holds every code.

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// The result is weaker than it looks, or the part is not what it should be.
    Warning,
    /// Somebody can be hurt, or a part broken.
    Hazard,
}

/// A finding: a code of the table with its figures in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// Which.
    pub code: Code,
    /// What was found, with its figures and units.
    pub message: String,
    /// The request's field it speaks of, as a path; else empty.
    pub field: &'static str,
}

impl Finding {
    /// A finding that speaks of no single field.
    #[must_use]
    pub fn new(code: Code, message: String) -> Self {
        Self {
            code,
            message,
            field: "",
        }
    }

    /// A finding about a field of the request.
    #[must_use]
    pub fn about(code: Code, field: &'static str, message: String) -> Self {
        Self { code, message, field }
    }

    /// How much it matters.
    #[must_use]
    pub fn severity(&self) -> Severity {
        self.code.severity()
    }

    /// What to be careful of, where somebody can be hurt; else empty.
    #[must_use]
    pub fn caution(&self) -> &'static str {
        self.code.caution()
    }
}

macro_rules! codes {
    ($( $(#[$doc:meta])* $code:ident $text:literal $severity:ident, $caution:literal; )*) => {
        /// Every finding's code. The texts are part of the API: never changed, never reused.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum Code {
            $( $(#[$doc])* $code, )*
        }

        impl Code {
            /// Every code.
            pub const ALL: &'static [Self] = &[$( Self::$code ),*];

            /// The stable text, upper snake case.
            #[must_use]
            pub fn text(self) -> &'static str {
                match self { $( Self::$code => $text ),* }
            }

            /// How much it matters.
            #[must_use]
            pub fn severity(self) -> Severity {
                match self { $( Self::$code => Severity::$severity ),* }
            }

            /// What to be careful of, where somebody can be hurt; else empty.
            #[must_use]
            pub fn caution(self) -> &'static str {
                match self { $( Self::$code => $caution ),* }
            }
        }
    };
}

codes! {
    /// The spring was pressed until its coils closed.
    CoilBind "COIL_BIND" Warning, "";
    /// The spring binds at a smaller deflection than its free and solid length promise.
    BindEarly "BIND_EARLY" Hazard, "A spring that binds before the stop takes the whole blow itself and can break: do not fit it until the solid length is measured.";
    /// The window reaches into coil bind or the seating of the end coils.
    WindowBeyondStraight "WINDOW_BEYOND_STRAIGHT" Warning, "";
    /// The rate changes within the travel.
    RateChange "RATE_CHANGE" Warning, "";
    /// Few points in the window.
    FewPoints "FEW_POINTS" Warning, "";
    /// Two points only: a rate without any sign of its scatter.
    NoScatter "NO_SCATTER" Warning, "";
    /// The robust rate and the fitted rate differ by more than the expanded uncertainty.
    WildPoints "WILD_POINTS" Warning, "";
    /// The two-point rate and the fitted rate differ by more than the expanded uncertainty.
    TwoPointDiffers "TWO_POINT_DIFFERS" Note, "";
    /// Loads stand at their largest value as a clipped signal would.
    LoadClipped "LOAD_CLIPPED" Warning, "";
    /// Loads above the capacity of the cell.
    OverCapacity "OVER_CAPACITY" Hazard, "Loads above the cell's capacity: stop the press, and have the cell checked before the next spring.";
    /// The no-load level moved over the run.
    TareDrift "TARE_DRIFT" Warning, "";
    /// No part of the run is without load: no tare was taken off.
    NoApproach "NO_APPROACH" Note, "";
    /// Strokes differ by more than their scatter explains.
    StrokesDiffer "STROKES_DIFFER" Warning, "";
    /// The residuals are serially correlated: fewer points count than were taken.
    CorrelatedResiduals "CORRELATED_RESIDUALS" Note, "";
    /// The frame takes more than a tenth of the deflection.
    FrameSoft "FRAME_SOFT" Warning, "";
    /// Loads beyond the measured frame curve; its last slope was carried on.
    FrameCurveExceeded "FRAME_CURVE_EXCEEDED" Warning, "";
    /// The noise of the deflections flattens the slope noticeably.
    Dilution "DILUTION" Note, "";
    /// Press and return differ widely: friction is a large part of the load.
    FrictionLarge "FRICTION_LARGE" Warning, "";
    /// More is given back than was put in.
    EnergyGained "ENERGY_GAINED" Warning, "";
    /// Press and return were asked for and the return cannot be used.
    ReturnUnusable "RETURN_UNUSABLE" Note, "";
    /// Fewer strokes than were to be discarded.
    PresetKept "PRESET_KEPT" Warning, "";
    /// More than 5 % from the mark, without a tolerance to judge by.
    FarFromMark "FAR_FROM_MARK" Warning, "";
    /// The mark cannot be read as a rate.
    MarkNotRead "MARK_NOT_READ" Warning, "";
    /// The mark has no unit, and the bench value chose one.
    MarkUnitChosen "MARK_UNIT_CHOSEN" Note, "";
    /// The mark typed and the marked rate entered are not the same.
    MarkContradicts "MARK_CONTRADICTS" Warning, "";
    /// Outside the tolerance.
    OutOfTolerance "OUT_OF_TOLERANCE" Warning, "";
    /// The uncertainty reaches over a limit of the tolerance.
    ToleranceCannotTell "TOLERANCE_CANNOT_TELL" Warning, "";
    /// The grade cannot be applied with what was given.
    GradeNotApplicable "GRADE_NOT_APPLICABLE" Warning, "";
    /// A formula from memory that no readable source confirms.
    Unconfirmed "UNCONFIRMED" Warning, "Do not accept or refuse a part on an unconfirmed formula: buy the standard and compare first.";
    /// The free length differs from the marked one by more than the grade permits.
    FreeLengthOff "FREE_LENGTH_OFF" Warning, "";
    /// Below the solid length: the spring cannot be this short.
    BelowSolid "BELOW_SOLID" Hazard, "A spring pressed solid carries any load without giving: a part breaks instead.";
    /// The spring stores enough energy to hurt.
    StoredEnergy "STORED_ENERGY" Hazard, "A compressed spring stores this energy: use a rated compressor, and never stand over the end of the tool.";
    /// Longer than free: the spring is loose.
    Loose "LOOSE" Warning, "";
    /// No uncertainty was stated for the scales: the uncertainty holds the scatter only.
    ScalesUnknown "SCALES_UNKNOWN" Note, "";
    /// A spring buckles unless it is guided.
    Buckles "BUCKLES" Warning, "";
    /// The wire of a spring is stressed past yield.
    SpringOverstressed "SPRING_OVERSTRESSED" Hazard, "A spring past yield takes a set or breaks: do not fit it for this travel.";
    /// A spring index nobody winds.
    IndexUnusual "INDEX_UNUSUAL" Note, "";
    /// Everything that gives is closed: nothing is left to press.
    AllClosed "ALL_CLOSED" Hazard, "Springs pressed solid carry any load without giving: a part breaks instead.";
    /// The gas is dense: the ideal gas law is noticeably off.
    GasNotIdeal "GAS_NOT_IDEAL" Note, "";
    /// The gas is at a pressure that can hurt.
    GasPressure "GAS_PRESSURE" Hazard, "Discharge the gas before anything is opened; nitrogen only, and never above the maker's pressure.";
    /// The wheel rate is zero or negative: the travel falls through.
    WheelRateNegative "WHEEL_RATE_NEGATIVE" Warning, "";
    /// The geometry's share of the wheel rate is large.
    GeometryShareLarge "GEOMETRY_SHARE_LARGE" Note, "";
    /// The two springs do not match.
    PairDiffers "PAIR_DIFFERS" Warning, "";
    /// The uncertainty does not tell whether two springs match.
    PairCannotTell "PAIR_CANNOT_TELL" Warning, "";
    /// A calibration bears no lower limit, or less than its points show.
    CalibrationWeak "CALIBRATION_WEAK" Warning, "";
    /// A calibration is past its due date.
    CalibrationOverdue "CALIBRATION_OVERDUE" Warning, "";
    /// A run was recorded before the calibration that is applied to it.
    CalibrationLater "CALIBRATION_LATER" Note, "";
    /// Loads beyond the calibrated range; the curve was carried on straight.
    BeyondCalibration "BEYOND_CALIBRATION" Warning, "";
    /// A shim is stressed above the limit that was entered.
    ShimOverstressed "SHIM_OVERSTRESSED" Hazard, "A shim above its limit can crack, and its pieces go through the damper: do not run this stack at this pressure.";
    /// The stack is outside the ranges the model was checked in.
    OutsideChecked "OUTSIDE_CHECKED" Warning, "";
    /// The face shim does not cover the port.
    PortUncovered "PORT_UNCOVERED" Warning, "";
    /// The stack does not leave its seat within the pressures asked for.
    StaysClosed "STAYS_CLOSED" Warning, "";
    /// A shim reaches so little beyond the clamp that shear, which is left out, counts.
    ShortOverhang "SHORT_OVERHANG" Note, "";
    /// A side of the oil falls below the lowest pressure.
    Cavitates "CAVITATES" Hazard, "Where the oil cavitates the damping is gone without warning. Raise the charge only within what the maker allows, with dry nitrogen, the reservoir discharged before anything is opened.";
    /// The oil's temperature lies far outside its stated points.
    ViscosityExtrapolated "VISCOSITY_EXTRAPOLATED" Warning, "";
    /// No stack brings an adjuster to the wanted position.
    StackCannotRecentre "STACK_CANNOT_RECENTRE" Note, "";
    /// Small deflection only, at lifts where the stretching of the shims counts.
    StretchLeftOut "STRETCH_LEFT_OUT" Warning, "";
    /// An adjuster drifts towards closed: its limit can be foretold.
    AdjusterCloses "ADJUSTER_CLOSES" Warning, "";
    /// What was measured after the work is not what was predicted.
    PredictionMissed "PREDICTION_MISSED" Warning, "";
    /// Readings of a visit contradict each other: they cannot be held against a prediction.
    ReadingsContradict "READINGS_CONTRADICT" Warning, "";
    /// Readings settled from either side differ: friction.
    SagSpread "SAG_SPREAD" Note, "";
    /// Readings settled from either side differ so much that something binds.
    SagBind "SAG_BIND" Warning, "";
    /// A reading was taken from one side only.
    ReadingUnpaired "READING_UNPAIRED" Note, "";
    /// The end does not settle under the machine's own weight.
    NoStaticSag "NO_STATIC_SAG" Hazard, "An end without static sag tops out and throws the rider: take preload off before the next ride, and ride slowly until it is put right.";
    /// The end lengthens as the rider sits down.
    RiderLengthens "RIDER_LENGTHENS" Note, "";
    /// The rate that sag implies is only an upper bound.
    RateBoundOnly "RATE_BOUND_ONLY" Warning, "";
    /// Sag does not imply the rate of the spring that is said to be fitted.
    RateDiffers "RATE_DIFFERS" Warning, "";
    /// Sag does not tell whether the spring is the one that is said to be fitted.
    RateCannotTell "RATE_CANNOT_TELL" Note, "";
    /// The end can rest at more than one position.
    SeveralPositions "SEVERAL_POSITIONS" Warning, "";
    /// The load presses the end to its stop.
    Bottomed "BOTTOMED" Hazard, "An end that rests on its stop passes every bump on to rider and frame: do not ride it.";
    /// The spring binds before the stop.
    BindsInTravel "BINDS_IN_TRAVEL" Hazard, "A spring that binds before the stop takes the whole blow itself and can break: do not fit it.";
    /// Little is left between the end of the travel and coil bind.
    BindMarginSmall "BIND_MARGIN_SMALL" Warning, "";
    /// The attitude of the machine changes noticeably.
    AttitudeChanges "ATTITUDE_CHANGES" Warning, "Steering and stability change with the attitude: first ride slowly, on a closed or quiet road.";
    /// A load case leaves less travel than it should.
    TravelUsedUp "TRAVEL_USED_UP" Warning, "";
    /// The rear wheel lifts at this deceleration.
    RearLifts "REAR_LIFTS" Hazard, "Beyond this deceleration the rear wheel leaves the ground.";
    /// More than the tyres can hold.
    BeyondGrip "BEYOND_GRIP" Warning, "";
    /// Two candidates that the uncertainty cannot tell apart.
    NearTie "NEAR_TIE" Note, "";
    /// Nothing on the list fits.
    NoneFits "NONE_FITS" Warning, "";
    /// A linkage is carried on beyond its readings.
    LinkageCarriedOn "LINKAGE_CARRIED_ON" Note, "";
    /// The suspension meets its stop.
    HitsStop "HITS_STOP" Warning, "";
    /// The suspension reaches full extension.
    TopsOut "TOPS_OUT" Warning, "";
    /// The tyre leaves the ground.
    LeavesGround "LEAVES_GROUND" Note, "";
    /// The damping ratio is low: it kicks back.
    KicksBack "KICKS_BACK" Warning, "";
    /// It is still compressed when the next bump comes.
    PacksDown "PACKS_DOWN" Warning, "";
    /// A rule of thumb fires and physics does not ask for it.
    ThumbAgainstPhysics "THUMB_AGAINST_PHYSICS" Warning, "";
    /// A fork's static share is not the usual one.
    ForkShareUnusual "FORK_SHARE_UNUSUAL" Note, "";
    /// The preload wanted cannot be set.
    PreloadOutOfReach "PRELOAD_OUT_OF_REACH" Warning, "";
    /// The oil of a unit is due that cannot be opened.
    OilOutOfReach "OIL_OUT_OF_REACH" Warning, "";
    /// A damper without a stack.
    NoStackToChange "NO_STACK_TO_CHANGE" Note, "";
    /// The spring is air.
    AirSpring "AIR_SPRING" Note, "";
    /// An adjuster stands nearly open and the ride is not harsh.
    AdjusterOpen "ADJUSTER_OPEN" Note, "";
    /// Steady loads alone ask for more travel than was measured.
    SteadyBeyondMeasured "STEADY_BEYOND_MEASURED" Warning, "";
    /// A damper's force grows faster with the pace than the damping wanted.
    DampingGrowsFaster "DAMPING_GROWS_FASTER" Note, "";
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn codes_are_told_apart_and_every_hazard_says_what_to_be_careful_of() {
        let texts: BTreeSet<&str> = Code::ALL.iter().map(|code| code.text()).collect();
        assert_eq!(texts.len(), Code::ALL.len());
        for code in Code::ALL {
            let text = code.text();
            assert!(text.chars().all(|c| c.is_ascii_uppercase() || c == '_'), "{text}");
            assert!(
                code.severity() != Severity::Hazard || !code.caution().is_empty(),
                "{text}"
            );
        }
    }
}
