//! The calculations on springs: what is not said in the request comes from the run's own header and from the rack.

use mechanics::finding::Finding;
use mechanics::quantity::{Deflection, ForceUnit, LengthUnit, Load, Quantity, Unit, UnitSystem};
use mechanics::spring::{self, Reduced, Samples, Source, SpringError};
use store::record::{RecordId, RunBody};
use store::{Saved, SpringBody};
use wire::names::Collection;
use wire::springs::{length, reduce};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::reduce_run_request::Source as Asked;
use wire::violation::{Violation, Violations};

use super::testers::applied::Recorded;
use super::{Bench, checked, map, refusal};
use crate::error::{Basis, ServiceError};

/// Everything a reduction depends on.
pub(super) struct Prepared {
    request: spring::Request,
    units: UnitSystem,
    basis: Basis,
    /// What the tester's record gives rise to.
    findings: Vec<Finding>,
    pub(super) assumptions: Vec<v1::Assumption>,
    pub(super) used: Vec<v1::UsedRevision>,
}

impl Prepared {
    /// Reduces it.
    pub(super) fn reduced(&self) -> Result<Reduced, ServiceError> {
        let mut reduced = spring::reduce(&self.request).map_err(not_reducible(self.basis))?;
        reduced.findings.extend(self.findings.iter().cloned());
        Ok(reduced)
    }
}

/// Samples of a recorded run that are reduced at once; both columns and the clock are held in memory.
const MAX_REDUCED: u64 = 2_000_000;

impl Bench {
    /// Reduces a run, samples or a measured rate.
    pub fn reduce_run(&self, request: v1::ReduceRunRequest) -> Result<v1::ReduceRunResponse, ServiceError> {
        let prepared = self.prepared(request)?;
        let reduced = prepared.reduced()?;
        let mut reply = reduce::response(&reduced, prepared.units);
        reply.assumptions.extend(prepared.assumptions);
        reply.used = prepared.used;
        Ok(reply)
    }

    /// A request with what the run, its tester and its spring say where it does not.
    pub(super) fn prepared(&self, mut request: v1::ReduceRunRequest) -> Result<Prepared, ServiceError> {
        let mut violations = Violations::new();
        let (mut used, mut assumptions) = (Vec::new(), Vec::new());
        let (mut basis, mut recorded) = (Basis::Sent, None);
        let mut as_measured = false;
        let source = match request.source.take() {
            None => {
                violations.push(
                    "source",
                    Reason::ValueMissing,
                    "one of run, samples, measured_rate is required",
                );
                None
            }
            Some(Asked::Samples(samples)) => Some(Source::Samples(reduce::samples(&samples, violations.at("samples")))),
            Some(Asked::MeasuredRate(rate)) => {
                as_measured = true;
                reduce::measured_rate(&rate, violations.at("measured_rate")).map(Source::MeasuredRate)
            }
            Some(Asked::Run(name)) => {
                basis = Basis::Stored;
                match Collection::Runs.revisable(&name, violations.at("run")) {
                    Some(read) => {
                        let (samples, of) = self.run_source(&name, &read, &mut request, &mut used, &mut assumptions)?;
                        recorded = Some(of);
                        Some(Source::Samples(samples))
                    }
                    None => None,
                }
            }
        };
        let tester = self.applied_tester(&mut request, recorded.as_ref(), &mut violations)?;
        // Faults of the options are wanted even where the source is faulty.
        let source_or_none = source.unwrap_or_else(|| Source::Samples(Samples::default()));
        let mut asked = reduce::options(&request, source_or_none, &mut violations);
        violations.finish()?;
        assumptions.extend(tester.assumptions);
        if as_measured && tester.curve.is_some() {
            assumptions.push(v1::Assumption {
                subject: "tester".to_owned(),
                text: "the measured rate holds the calibration already: there are no loads to read back".to_owned(),
                source: "the request".to_owned(),
            });
        } else {
            asked.request.calibration = tester.curve;
        }
        used.extend(tester.used);
        Ok(Prepared {
            request: asked.request,
            units: asked.units,
            basis,
            findings: tester.findings,
            assumptions,
            used,
        })
    }

    /// The samples of a run; fills the request's gaps from the run's header and its spring.
    fn run_source(
        &self,
        shown: &str,
        name: &wire::names::Name,
        request: &mut v1::ReduceRunRequest,
        used: &mut Vec<v1::UsedRevision>,
        assumptions: &mut Vec<v1::Assumption>,
    ) -> Result<(Samples, Recorded), ServiceError> {
        let id = RecordId::parse(&name.id).ok_or_else(|| ServiceError::NotFound { name: shown.to_owned() })?;
        let refused = refusal(shown, "");
        let run: Saved<RunBody> = match name.revision {
            Some(revision) => self.store.get_revision(&id, revision).map_err(&refused)?,
            None => self.store.get(&id).map_err(&refused)?,
        };
        if run.delete_time.is_some() {
            return Err(ServiceError::Deleted { name: shown.to_owned() });
        }
        if self.is_attached(run.id.as_str()) {
            return Err(ServiceError::RunOpen { run: shown.to_owned() });
        }
        used.push(used_revision(Collection::Runs, run.id.as_str(), run.revision));
        let header = run.body.header.as_ref().map(map::header_of).unwrap_or_default();
        let (samples, tare) = self.samples_of(shown, &id, &header)?;
        if let Some(Marked { load: Some(load), .. }) = &tare
            && request.tare.is_none()
        {
            request.tare = Some(v1::Tare {
                level: Some(v1::tare::Level::Load(*load)),
            });
        }
        if let Some(v1::run_header::Kind::RateTest(test)) = &header.kind {
            header_defaults(request, test);
        }
        if let Some(spring) = self.spring_of_run(&run)? {
            used.push(used_revision(Collection::Springs, spring.id.as_str(), spring.revision));
            wire::springs::record_defaults(request, &map::spring(&spring));
        }
        assumptions.extend(tare.map(|tare| tare.words()));
        let recorded = Recorded {
            tester: header.tester,
            time: run.create_time,
        };
        Ok((samples, recorded))
    }

    fn spring_of_run(&self, run: &Saved<RunBody>) -> Result<Option<Saved<SpringBody>>, ServiceError> {
        let Some(id) = RecordId::parse(&run.body.spring) else {
            return Ok(None);
        };
        match self.store.get::<SpringBody>(&id) {
            Ok(spring) => Ok(Some(spring)),
            // Purged since: the run still says what it says.
            Err(store::StoreError::NotFound) => Ok(None),
            Err(error) => Err(refusal(&Collection::Springs.name(id.as_str()), "")(error)),
        }
    }

    /// The samples from the last tare mark on, and that mark: those before it count from another zero.
    fn samples_of(
        &self,
        shown: &str,
        id: &RecordId,
        header: &v1::RunHeader,
    ) -> Result<(Samples, Option<Marked>), ServiceError> {
        let refused = refusal(shown, "");
        let columns = Columns::of(header).ok_or_else(|| ServiceError::NotReducible {
            basis: Basis::Stored,
            cause: format!("{shown} has no deflection and load columns"),
        })?;
        let tail = self.store.run_tail(id).map_err(&refused)?;
        if tail.sample_count > MAX_REDUCED {
            return Err(ServiceError::TooLarge {
                what: format!("{shown} with {} samples", tail.sample_count),
                limit: format!("{MAX_REDUCED} samples"),
            });
        }
        let count = usize::try_from(tail.sample_count).unwrap_or(0);
        let mut samples = Samples {
            deflections: Vec::with_capacity(count),
            loads: Vec::with_capacity(count),
            elapsed_ns: Vec::new(),
            segment_starts: Vec::new(),
        };
        let (mut segment, mut marked): (_, Option<Marked>) = (None, None);
        for block in self.store.read_blocks(id, 0).map_err(&refused)? {
            let block = block.map_err(&refused)?;
            if let Some(mark) = &block.tare_mark {
                let before = marked.map_or(0, |marked| marked.before) + samples.deflections.len();
                marked = Some(Marked::new(mark, block.number, before));
                samples = Samples::default();
                segment = None;
            }
            let start = samples.deflections.len();
            if segment.is_some_and(|segment| segment != block.segment) {
                samples.segment_starts.push(start);
            }
            segment = Some(block.segment);
            let column = |index: usize| block.columns.get(index).map(Vec::as_slice).unwrap_or_default();
            samples.deflections.extend(
                column(columns.deflection.0)
                    .iter()
                    .map(|value| Deflection::new(*value, columns.deflection.1)),
            );
            samples.loads.extend(
                column(columns.load.0)
                    .iter()
                    .map(|value| Load::new(*value, columns.load.1)),
            );
            samples.elapsed_ns.extend(&block.elapsed_ns);
        }
        if samples.elapsed_ns.len() != samples.deflections.len() {
            // Some blocks came without a clock: times are for all samples or for none.
            samples.elapsed_ns.clear();
        }
        Ok((samples, marked))
    }

    /// Load, deflection and energy of a straight spring at a length.
    pub fn load_at_length(&self, request: v1::LoadAtLengthRequest) -> Result<v1::LoadAtLengthResponse, ServiceError> {
        use v1::load_at_length_request::Source;
        let mut violations = Violations::new();
        let mut used = Vec::new();
        let asked = length::options(&request, &mut violations);
        let mut assumption = None;
        let values = match &request.source {
            None => {
                violations.push("source", Reason::ValueMissing, "one of spring, values is required");
                None
            }
            Some(Source::Values(values)) => length::values(values, violations.at("values")),
            Some(Source::Spring(name)) => match Collection::Springs.revisable(name, violations.at("spring")) {
                Some(read) => {
                    let (values, stated) = self.values_of(name, &read, &mut used)?;
                    assumption = stated;
                    length::values(&values, violations.at("spring"))
                }
                None => None,
            },
        };
        let (values, at) = checked(violations, values.zip(asked.length))?;
        let basis = if used.is_empty() { Basis::Sent } else { Basis::Stored };
        let found = spring::load_at_length(&values, at, asked.coverage_probability).map_err(not_reducible(basis))?;
        let mut reply = length::response(&found, asked.units);
        reply.assumptions.extend(assumption);
        reply.used = used;
        Ok(reply)
    }

    /// The values of a spring of the rack: the rate its tested run measured, else the marked one.
    fn values_of(
        &self,
        shown: &str,
        name: &wire::names::Name,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<(v1::SpringValues, Option<v1::Assumption>), ServiceError> {
        let spring: v1::Spring = self.read_standing(name, shown, used)?;
        let missing = |what: &str| ServiceError::NotReducible {
            basis: Basis::Stored,
            cause: format!("{shown} has no {what}"),
        };
        let mut values = v1::SpringValues {
            free_length: spring.free_length,
            solid_length: spring.solid_length,
            ..Default::default()
        };
        if values.free_length.is_none() {
            return Err(missing("free length"));
        }
        if !spring.tested_run.is_empty() {
            let source = Some(Asked::Run(spring.tested_run.clone()));
            let measured = self.reduce_run(v1::ReduceRunRequest {
                source,
                ..Default::default()
            })?;
            let of_springs = |used: &v1::UsedRevision| used.name.starts_with("springs/");
            used.extend(measured.used.into_iter().filter(|used| !of_springs(used)));
            let rate = measured.rate.unwrap_or_default();
            values.rate = rate.value;
            values.rate_standard_uncertainty = rate.standard_uncertainty;
            return Ok((values, None));
        }
        values.rate = Some(
            spring
                .marked_rate
                .ok_or_else(|| missing("tested run and no marked rate"))?,
        );
        let assumption = v1::Assumption {
            subject: "spring".to_owned(),
            text: "the marked rate holds; the spring has no tested run".to_owned(),
            source: "the marking".to_owned(),
        };
        Ok((values, Some(assumption)))
    }
}

/// A tare that was marked within a run.
struct Marked {
    load: Option<v1::Force>,
    block: u64,
    /// Samples before it.
    before: usize,
}

impl Marked {
    fn new(mark: &store::record::TareMark, block: u64, before: usize) -> Self {
        Self {
            load: map::tare_mark_of(mark).load,
            block,
            before,
        }
    }

    fn words(self) -> v1::Assumption {
        let left_out = match self.before {
            0 => String::new(),
            1 => "; the sample before it is left out".to_owned(),
            count => format!("; the {count} samples before it are left out"),
        };
        v1::Assumption {
            subject: "tare".to_owned(),
            text: format!(
                "nothing was on the cell when the tare was marked at block {}{left_out}",
                self.block
            ),
            source: "the run".to_owned(),
        }
    }
}

/// Where deflection and load stand in a run's blocks.
struct Columns {
    deflection: (usize, LengthUnit),
    load: (usize, ForceUnit),
}

impl Columns {
    fn of(header: &v1::RunHeader) -> Option<Self> {
        use v1::column::{Quantity as Holds, Unit as On};
        let place = |wanted: Holds| {
            header
                .columns
                .iter()
                .enumerate()
                .find(|(_, column)| column.quantity == wanted as i32)
        };
        let deflection = place(Holds::Deflection).and_then(|(index, column)| match column.unit {
            Some(On::Length(unit)) => Some((index, LengthUnit::from_number(unit)?)),
            _ => None,
        });
        let load = place(Holds::Load).and_then(|(index, column)| match column.unit {
            Some(On::Force(unit)) => Some((index, ForceUnit::from_number(unit)?)),
            _ => None,
        });
        Some(Self {
            deflection: deflection?,
            load: load?,
        })
    }
}

/// What the request leaves out and the run's header says.
pub(super) fn header_defaults(request: &mut v1::ReduceRunRequest, test: &v1::RateTest) {
    if let (None, Some(load)) = (&request.tare, test.tare_load) {
        request.tare = Some(v1::Tare {
            level: Some(v1::tare::Level::Load(load)),
        });
    }
    if request.frame.is_none() {
        request.frame.clone_from(&test.frame);
    }
    request.load_cell = request.load_cell.or(test.load_cell);
    request.platen_gap = request.platen_gap.or(test.platen_gap);
    let uncertainty = request.uncertainty.get_or_insert_default();
    uncertainty.load_resolution = uncertainty.load_resolution.or(test.load_resolution);
    uncertainty.deflection_resolution = uncertainty.deflection_resolution.or(test.deflection_resolution);
    uncertainty.test_temperature = uncertainty.test_temperature.or(test.temperature);
    let strokes = request.strokes.get_or_insert_default();
    strokes.preset_stroke_count = strokes.preset_stroke_count.or(Some(test.preset_stroke_count));
}

pub(super) fn used_revision(collection: Collection, id: &str, revision: u64) -> v1::UsedRevision {
    v1::UsedRevision {
        name: format!("{}@{revision}", collection.name(id)),
    }
}

/// What an error of the physics means: a field at fault, or samples that give no rate.
pub(super) fn not_reducible(basis: Basis) -> impl Fn(SpringError) -> ServiceError {
    move |error| match &error {
        SpringError::OutOfRange { field, .. } if basis == Basis::Sent => ServiceError::InvalidFields(vec![Violation {
            field: (*field).to_owned(),
            reason: Reason::OutOfRange,
            description: error.to_string(),
        }]),
        _ => ServiceError::NotReducible {
            basis,
            cause: error.to_string(),
        },
    }
}
