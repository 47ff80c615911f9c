//! The shipped rows. Every threshold is common practice without a source; each row names its end.

use super::table::{Ends, Kind, Row};

macro_rules! rules {
    ($( $(#[$doc:meta])* $name:ident $id:literal $ends:ident $kind:ident $default:literal in $low:literal to $high:literal,
        $tests:literal, $meaning:literal; )*) => {
        /// Every rule. The ids are part of the API: never changed, never reused.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum RuleId {
            $( $(#[$doc])* $name, )*
        }

        impl RuleId {
            /// Every rule.
            pub const ALL: &'static [Self] = &[$( Self::$name ),*];

            pub(super) fn row(self) -> Row {
                match self { $( Self::$name => Row {
                    text: $id,
                    ends: Ends::$ends,
                    kind: Kind::$kind,
                    default: $default,
                    sane: ($low, $high),
                    tests: $tests,
                    meaning: $meaning,
                } ),* }
            }
        }
    };
}

impl RuleId {
    /// The stable id, such as `travel-little`.
    #[must_use]
    pub fn text(self) -> &'static str {
        self.row().text
    }

    /// The rule of an id.
    #[must_use]
    pub fn of_text(text: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|id| id.text() == text)
    }

    /// Lower and upper ends of ranges, which must not cross.
    pub(super) const PAIRS: &'static [(Self, Self)] = &[
        (Self::TotalSagLow, Self::TotalSagHigh),
        (Self::SagClassTravelLow, Self::SagClassTravelHigh),
        (Self::TotalShareLow, Self::TotalShareHigh),
        (Self::RearStaticTargetLow, Self::RearStaticTargetHigh),
        (Self::RearStaticShareLow, Self::RearStaticShareHigh),
        (Self::RearStaticShareLow, Self::RearStaticTargetLow),
        (Self::RearStaticTargetHigh, Self::RearStaticShareHigh),
        (Self::ForkStaticUsualLow, Self::ForkStaticUsualHigh),
        (Self::TravelLittle, Self::TravelRightLow),
        (Self::TravelRightLow, Self::TravelRightHigh),
        (Self::TravelRightHigh, Self::TravelAll),
        (Self::PreloadNone, Self::PreloadFull),
        (Self::CompressionNearlyClosed, Self::AdjusterMiddle),
        (Self::AdjusterNearLimit, Self::AdjusterMiddle),
        (Self::AdjusterMiddle, Self::AdjusterNearlyOpen),
        (Self::ForceRatioLow, Self::ForceRatio),
        (Self::ForceRatio, Self::ForceRatioHigh),
        (Self::ForkSpreadNote, Self::ForkSpreadBind),
        (Self::RearSpreadNote, Self::RearSpreadBind),
    ];
}

rules! {
    /// Spread of a fork worth a note.
    ForkSpreadNote "fork-spread-note" Front Millimeters 10.0 in 1.0 to 50.0,
        "lifted less pressed length of the fork", "Above it friction is worth a note: the sag is the mean of a wide band.";
    /// Spread of a fork that binds.
    ForkSpreadBind "fork-spread-bind" Front Millimeters 15.0 in 2.0 to 80.0,
        "lifted less pressed length of the fork", "Above it something binds: find it before the fork's sag is judged.";
    /// Spread of a rear worth a note.
    RearSpreadNote "rear-spread-note" Rear Millimeters 5.0 in 0.5 to 30.0,
        "lifted less pressed length at the rear", "Above it friction is worth a note: the sag is the mean of a wide band.";
    /// Spread of a rear that binds.
    RearSpreadBind "rear-spread-bind" Rear Millimeters 8.0 in 1.0 to 50.0,
        "lifted less pressed length at the rear", "Above it something binds: find it before the rear's sag is judged.";
    /// Least total sag.
    TotalSagLow "total-sag-low" Either Millimeters 30.0 in 5.0 to 100.0,
        "total sag of a road machine with usual travel", "Below it the end stands too high for its rider.";
    /// Most total sag.
    TotalSagHigh "total-sag-high" Either Millimeters 40.0 in 10.0 to 150.0,
        "total sag of a road machine with usual travel", "Above it the end stands too low for its rider.";
    /// Least usual travel.
    SagClassTravelLow "usual-travel-low" Either Millimeters 110.0 in 30.0 to 300.0,
        "travel for which total sag is given in millimetres", "Below it total sag is taken as a share of the travel.";
    /// Most usual travel.
    SagClassTravelHigh "usual-travel-high" Either Millimeters 140.0 in 50.0 to 400.0,
        "travel for which total sag is given in millimetres", "Above it total sag is taken as a share of the travel.";
    /// Least total sag, of the travel.
    TotalShareLow "total-sag-share-low" Either Ratio 0.25 in 0.05 to 0.5,
        "total sag over travel, other travel and off the road", "Below it the end stands too high for its rider.";
    /// Most total sag, of the travel.
    TotalShareHigh "total-sag-share-high" Either Ratio 0.33 in 0.1 to 0.6,
        "total sag over travel, other travel and off the road", "Above it the end stands too low for its rider.";
    /// Least wanted static share.
    RearStaticTargetLow "rear-static-share-target-low" Rear Ratio 0.25 in 0.05 to 0.6,
        "static sag over total sag at the rear", "The static share wanted lies between this and its upper end.";
    /// Most wanted static share.
    RearStaticTargetHigh "rear-static-share-target-high" Rear Ratio 0.33 in 0.1 to 0.7,
        "static sag over total sag at the rear", "The static share wanted lies between this and its lower end.";
    /// Least static share without a finding.
    RearStaticShareLow "rear-static-share-low" Rear Ratio 0.20 in 0.0 to 0.5,
        "static sag over total sag at the rear, total as wanted", "Below it the spring is too soft for this rider, whatever the preload.";
    /// Most static share without a finding.
    RearStaticShareHigh "rear-static-share-high" Rear Ratio 0.40 in 0.1 to 0.8,
        "static sag over total sag at the rear, total as wanted", "Above it the spring is too stiff for this rider, whatever the preload.";
    /// Least usual static share of a fork.
    ForkStaticUsualLow "fork-static-share-usual-low" Front Ratio 0.5 in 0.1 to 0.9,
        "static sag over total sag of the fork", "Information only: a fork carries about a third of the rider, so a correct one shows more static sag than rider's share.";
    /// Most usual static share of a fork.
    ForkStaticUsualHigh "fork-static-share-usual-high" Front Ratio 0.7 in 0.2 to 0.95,
        "static sag over total sag of the fork", "Information only: a fork carries about a third of the rider, so a correct one shows more static sag than rider's share.";
    /// No static sag.
    StaticNone "static-sag-none" Either Millimeters 1.0 in 0.0 to 5.0,
        "static sag", "At or below it, or within its uncertainty of zero, the end does not settle by itself: it tops out.";
    /// How far up its range a total sag is at the top.
    WoundUpTotal "rear-wound-up-total" Rear Ratio 0.5 in 0.0 to 1.0,
        "place of the total sag in its range, without static sag", "From here on no static sag means a soft spring wound up to hide it.";
    /// Static sag over rider's share of a stiff spring.
    TooStiffRatio "rear-too-stiff-ratio" Rear Ratio 1.8 in 1.2 to 5.0,
        "static sag over the rider's share at the rear", "From here on the spring is too stiff for this rider.";
    /// Least steps stiffer, gentle use.
    StifferGentle "stiffer-steps-gentle" Either Steps 1.0 in 0.5 to 5.0,
        "steps to a stiffer spring, gentle use", "The least change by thumb.";
    /// Least steps stiffer, hard use.
    StifferHard "stiffer-steps-hard" Either Steps 2.0 in 0.5 to 5.0,
        "steps to a stiffer spring, hard use", "The least change by thumb.";
    /// Least steps softer, gentle use.
    SofterGentle "softer-steps-gentle" Either Steps 2.0 in 0.5 to 5.0,
        "steps to a softer spring, gentle use", "The least change by thumb.";
    /// Least steps softer, hard use.
    SofterHard "softer-steps-hard" Either Steps 1.0 in 0.5 to 5.0,
        "steps to a softer spring, hard use", "The least change by thumb.";
    /// Steps above which the amount is a range.
    AmountSteps "amount-steps-most" Either Steps 3.0 in 1.0 to 10.0,
        "steps physics asks for", "Above it the amount is given as a range, and measured again before a spring is bought.";
    /// Change above which the amount is a range.
    AmountChange "amount-change-most" Either Ratio 0.20 in 0.05 to 1.0,
        "change of the rate physics asks for", "Above it the amount is given as a range, and measured again before a spring is bought.";
    /// Steps apart that are a disagreement.
    DisagreementSteps "disagreement-steps" Either Steps 1.0 in 0.5 to 5.0,
        "steps between thumb and physics", "Above it they disagree, and that is said.";
    /// Assumed step of a fork.
    ForkStep "assumed-step-fork" Front NewtonsPerMillimeter 0.5 in 0.05 to 5.0,
        "rate step of a fork spring without a rack", "Assumed where no rack says what the next spring is.";
    /// Assumed step of a shock.
    ShockStep "assumed-step-shock" Rear NewtonsPerMillimeter 5.0 in 0.5 to 50.0,
        "rate step of a shock spring without a rack", "Assumed where no rack says what the next spring is.";
    /// Little travel.
    TravelLittle "travel-little" Either Ratio 0.55 in 0.2 to 0.65,
        "travel used over travel, hard use", "At or below it without preload the spring is too stiff, unless compression, oil or friction hold the end up.";
    /// All travel.
    TravelAll "travel-all" Either Ratio 0.97 in 0.8 to 1.0,
        "travel used over travel, hard use", "From here on all travel is used: with preload full in and compression nearly closed the spring is too soft.";
    /// Travel too short.
    TravelShort "travel-short-compression" Either Ratio 0.5 in 0.25 to 0.75,
        "share left of the compression adjuster, all travel used and a harsh ride, spring and oil right", "At or below it compression holds up what it can and more would only be harsher: the travel is too short for this use.";
    /// Right travel, low end.
    TravelRightLow "travel-right-low" Either Ratio 0.6667 in 0.3 to 0.9,
        "travel used over travel, hard use", "Two thirds to three quarters is right.";
    /// Right travel, high end.
    TravelRightHigh "travel-right-high" Either Ratio 0.75 in 0.4 to 0.95,
        "travel used over travel, hard use", "Two thirds to three quarters is right.";
    /// Travel for braking.
    BrakingTravel "fork-braking-travel" Front Ratio 0.90 in 0.5 to 1.0,
        "travel of the fork in hard braking", "The fork's rate is the larger of what sag asks for and what keeps braking within this share.";
    /// Preload full in.
    PreloadFull "preload-full" Either Ratio 0.90 in 0.5 to 1.0,
        "preload over its range", "From here on preload is full in.";
    /// No preload.
    PreloadNone "preload-none" Either Ratio 0.10 in 0.0 to 0.4,
        "preload over its range", "Up to here there is no preload to speak of.";
    /// Compression nearly closed.
    CompressionNearlyClosed "compression-nearly-closed" Either Ratio 0.10 in 0.0 to 0.3,
        "share left of the compression adjuster", "Up to here compression is nearly closed.";
    /// Middle of an adjuster.
    AdjusterMiddle "adjuster-middle" Either Ratio 0.5 in 0.3 to 0.7,
        "share left of an adjuster", "Half is where a setting belongs.";
    /// Near the limit.
    AdjusterNearLimit "adjuster-near-limit" Either Ratio 0.25 in 0.05 to 0.4,
        "share left of an adjuster, inclusive", "At or below it an adjuster is near its limit.";
    /// Nearly open.
    AdjusterNearlyOpen "adjuster-nearly-open" Either Ratio 0.90 in 0.6 to 1.0,
        "share left of an adjuster, with harshness", "From here on a harsh ride says that the valving is too strong.";
    /// Assumed force ratio.
    ForceRatio "assumed-force-ratio" Either Ratio 2.0 in 1.1 to 10.0,
        "force closed over force open, without a model", "Assumed where no model of the damper says it.";
    /// Its lower limit.
    ForceRatioLow "assumed-force-ratio-low" Either Ratio 1.3 in 1.05 to 5.0,
        "force closed over force open, without a model", "Least ratio usual adjusters have.";
    /// Its upper limit.
    ForceRatioHigh "assumed-force-ratio-high" Either Ratio 4.0 in 1.5 to 20.0,
        "force closed over force open, without a model", "Largest ratio usual adjusters have.";
    /// Old oil, road.
    OilAgeRoad "oil-age-road" Either Months 24.0 in 1.0 to 120.0,
        "age of the oil, road use", "Above it the oil is old; the maker's interval comes first where it is shorter.";
    /// Old oil, hard use.
    OilAgeHard "oil-age-closed-course" Either Months 12.0 in 0.25 to 60.0,
        "age of the oil, closed course and off the road", "Above it the oil is old; the maker's interval comes first where it is shorter.";
    /// Viscosity off.
    OilViscosity "oil-viscosity-deviation" Either Ratio 0.20 in 0.05 to 1.0,
        "deviation of the oil's viscosity from the grade wanted", "Above it the oil is of another grade.";
    /// Level off.
    OilLevel "oil-level-tolerance" Front Millimeters 5.0 in 1.0 to 30.0,
        "oil level against the one wanted", "Above it the air spring is another one.";
    /// Attitude.
    Pitch "pitch-caution" Either Degrees 0.3 in 0.05 to 3.0,
        "change of the machine's attitude", "Above it steering and stability change noticeably.";
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::super::table::{OwnRule, Rule, RuleTable, TableError, Threshold};
    use super::*;
    use crate::quantity::{Length, LengthUnit, Quantity};

    fn own(id: &str, ends: Option<Ends>, threshold: Threshold) -> OwnRule {
        OwnRule {
            id: id.to_owned(),
            ends,
            threshold,
        }
    }

    #[test]
    fn every_row_has_its_own_id_an_end_and_words() {
        let ids: BTreeSet<&str> = RuleId::ALL.iter().map(|id| id.text()).collect();
        assert_eq!(ids.len(), RuleId::ALL.len());
        for id in RuleId::ALL {
            let rule = Rule::of(*id);
            assert!(!rule.tests.is_empty() && !rule.text.is_empty() && !rule.source.is_empty());
            assert!(rule.least.number() <= rule.threshold.number(), "{}", id.text());
            assert!(rule.threshold.number() <= rule.most.number(), "{}", id.text());
            assert_eq!(RuleId::of_text(id.text()), Some(*id));
        }
        assert_eq!(RuleTable::shipped().rows().len(), RuleId::ALL.len());
        // The pairs hold as shipped: a shop's own row is what would cross one.
        assert!(RuleTable::with(&[own("travel-all", Some(Ends::Either), Threshold::Ratio(0.97))], 1).is_ok());
    }

    #[test]
    fn shop_sets_one_end_apart_from_the_other() {
        let table = RuleTable::with(&[own("travel-little", Some(Ends::Rear), Threshold::Ratio(0.5))], 4).unwrap();
        let at = |end| table.threshold(RuleId::TravelLittle, end);
        assert_eq!(
            (at(Ends::Front), at(Ends::Rear)),
            (Threshold::Ratio(0.55), Threshold::Ratio(0.5))
        );
        assert_eq!(table.version(), "1.1+4");
        let rows = table.rows();
        assert_eq!(rows.len(), RuleId::ALL.len() + 1);
        assert_eq!(rows.iter().filter(|row| row.own).count(), 1);
    }

    #[test]
    fn rows_that_nobody_can_mean_are_refused_by_name() {
        let ratio = Threshold::Ratio;
        let rows = [
            own("no-such-rule", Some(Ends::Rear), ratio(0.5)),
            own("travel-little", None, ratio(0.5)),
            own("rear-too-stiff-ratio", Some(Ends::Front), ratio(1.9)),
            own("total-sag-low", Some(Ends::Either), ratio(0.3)),
            own("travel-all", Some(Ends::Either), ratio(1.2)),
            own("preload-full", Some(Ends::Either), ratio(f64::NAN)),
            own("adjuster-middle", Some(Ends::Either), ratio(0.5)),
            own("adjuster-middle", Some(Ends::Either), ratio(0.5)),
            own(
                "total-sag-high",
                Some(Ends::Front),
                Threshold::Length(Length::new(25.0, LengthUnit::Millimeter)),
            ),
        ];
        let refused = RuleTable::with(&rows, 1).unwrap_err();
        let said: Vec<(usize, String)> = refused.iter().map(|one| (one.index(), one.to_string())).collect();
        let expected = [
            (0, "no rule has the id no-such-rule"),
            (1, "travel-little names no end; front, rear or either is required"),
            (2, "rear-too-stiff-ratio is for the end rear"),
            (3, "total-sag-low is a ratio; allowed: a length"),
            (4, "travel-all is 1.2; allowed 0.8 to 1"),
            (5, "preload-full is NaN; allowed 0.5 to 1"),
            (7, "adjuster-middle stands twice for one end"),
            (8, "total-sag-low must stay below total-sag-high"),
        ];
        let expected: Vec<(usize, String)> = expected.map(|(index, text)| (index, text.to_owned())).into();
        assert_eq!(said, expected);
        assert!(matches!(refused[0], TableError::UnknownRule { .. }));
    }
}
