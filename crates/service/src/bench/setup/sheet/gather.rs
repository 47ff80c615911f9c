//! The records of a visit, with what is said of them.

use mechanics::quantity::UnitSystem;
use wire::names::{Collection, Name};
use wire::v1;
use wire::v1::setup_side::Moment;
use wire::violation::Violations;

use super::told;
use crate::bench::{Bench, checked, map};
use crate::error::ServiceError;
use crate::sheet::made::{Gathered, SagOf};

impl Bench {
    /// The records a sheet names: its setup, the machine as found and as left, the rider as now. It is judged by the rules that
    /// were in force when the sheet was entered, so that it goes on saying what it said.
    pub(super) fn sheet_of(
        &self,
        shown: &str,
        judgement: v1::JudgeSetupRequest,
        units: UnitSystem,
    ) -> Result<Gathered, ServiceError> {
        let mut used = Vec::new();
        let sheet: v1::JobSheet = self.read_used(&named(Collection::JobSheets, shown)?, shown, &mut used)?;
        let setup = named(Collection::Setups, &sheet.setup)?;
        let mut setup: v1::Setup = self.read_used(&setup, &sheet.setup, &mut used)?;
        let visit = setup.visit.take().unwrap_or_default();
        let found = visit.as_found.as_ref().or(visit.as_left.as_ref());
        let left = visit.as_left.as_ref().or(visit.as_found.as_ref());
        let machines = [
            self.machine_at(&setup, found, &mut used)?.unwrap_or_default(),
            self.machine_at(&setup, left, &mut used)?.unwrap_or_default(),
        ];
        // A rider may have been erased: the sheet is then without a name.
        let rider = named(Collection::Riders, &setup.rider)
            .and_then(|name| self.read_named::<v1::Rider>(&name, &setup.rider))
            .ok()
            .filter(|(rider, _)| rider.delete_time.is_none());
        let entered = sheet.update_time.as_ref().map_or_else(|| self.now(), map::moment);
        let rules = self.rules_at(entered)?;
        let judged = match &visit.as_found {
            None => None,
            Some(_) => {
                let asked = v1::JudgeSetupRequest {
                    source: Some(v1::judge_setup_request::Source::Setup(v1::SagOfSetup {
                        name: sheet.setup.clone(),
                        moment: Moment::AsFound as i32,
                    })),
                    ..judgement
                };
                Some(told(self.judge_by(asked, &rules, entered))?)
            }
        };
        let mut gathered = Gathered {
            rider: rider.map(|(rider, _)| rider),
            machines,
            visit,
            sheet,
            judged,
            rules: Some(rules),
            used,
            units,
            ..Gathered::default()
        };
        self.read_through(&mut gathered);
        Ok(gathered)
    }

    /// The same of values; the machine is one throughout.
    pub(super) fn sheet_of_values(
        &self,
        values: v1::JobSheetValues,
        judgement: v1::JudgeSetupRequest,
        units: UnitSystem,
    ) -> Result<Gathered, ServiceError> {
        let visit = values.visit.unwrap_or_default();
        let machine = values.machine.unwrap_or_default();
        let when = visit.visit_time.as_ref().map_or_else(|| self.now(), map::moment);
        let rules = self.rules_in_force()?;
        let judged = match &visit.as_found {
            None => None,
            Some(state) => {
                let asked = v1::JudgeSetupRequest {
                    source: Some(v1::judge_setup_request::Source::Values(v1::SetupValues {
                        machine: Some(machine.clone()),
                        state: Some(state.clone()),
                        riding: visit.riding,
                        rider_mass_with_gear: values.rider.as_ref().and_then(|rider| rider.mass_with_gear),
                    })),
                    ..judgement
                };
                Some(told(self.judge_by(asked, &rules, when))?)
            }
        };
        let mut gathered = Gathered {
            rider: values.rider,
            machines: [machine.clone(), machine],
            visit,
            sheet: values.sheet.unwrap_or_default(),
            judged,
            rules: Some(rules),
            units,
            ..Gathered::default()
        };
        self.read_through(&mut gathered);
        Ok(gathered)
    }

    /// Sag of both ends, as found and as left; what cannot be read is told on the sheet.
    fn read_through(&self, gathered: &mut Gathered) {
        let states = [(false, &gathered.visit.as_found), (true, &gathered.visit.as_left)];
        for ((left, state), machine) in states.into_iter().zip(&gathered.machines) {
            let Some(state) = state else { continue };
            let ends = [
                (v1::MachineEnd::Front, &state.front),
                (v1::MachineEnd::Rear, &state.rear),
            ];
            for (end, given) in ends {
                let Some(readings) = given.as_ref().and_then(|given| given.sag) else {
                    continue;
                };
                let rider = gathered.rider.as_ref();
                let asked = v1::ReadSagRequest {
                    source: Some(v1::read_sag_request::Source::Values(v1::SagValues {
                        readings: Some(readings),
                        machine: Some(machine.clone()),
                        rider_mass_with_gear: rider.and_then(|rider| rider.mass_with_gear),
                    })),
                    end: end as i32,
                    reply_units: wire::quantity::unit_system_number(gathered.units),
                    ..v1::ReadSagRequest::default()
                };
                let found = self.read_sag(asked).map_err(|error| error.to_string());
                gathered.sags.push(SagOf { left, end, found });
            }
        }
        let judged = gathered.judged.iter().flatten();
        for one in judged.flat_map(|reply| &reply.used) {
            if !gathered.used.contains(one) {
                gathered.used.push(one.clone());
            }
        }
    }
}

/// A name of a record, read.
pub(super) fn named(collection: Collection, shown: &str) -> Result<Name, ServiceError> {
    let mut violations = Violations::new();
    let name = collection.revisable(shown, violations.at("name"));
    checked(violations, name)
}
