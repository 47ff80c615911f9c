//! The demo's book: three machines whose riders get faster, from visit to visit. All of it is invented.

mod bikes;
mod records;
mod ride;

use tonic::transport::Channel;
use wire::setup::words;
use wire::v1::book_service_client::BookServiceClient;
use wire::v1::rack_service_client::RackServiceClient;
use wire::v1::setup_service_client::SetupServiceClient;

use crate::call::status_fail;
use crate::fail::Fail;
use crate::out::Out;
use crate::print::clean;
use bikes::{BIKES, Bike, Done};
use records::Fitted;

/// The clients it takes.
struct Shop {
    rack: RackServiceClient<Channel>,
    book: BookServiceClient<Channel>,
    setup: SetupServiceClient<Channel>,
}

/// Enters machines, riders, visits and prices, and prints what they say.
pub(super) async fn show(channel: Channel) -> Result<(), Fail> {
    let mut shop = Shop {
        rack: RackServiceClient::new(channel.clone()),
        book: BookServiceClient::new(channel.clone()),
        setup: SetupServiceClient::new(channel),
    };
    shop.book.update_price_list(records::price_list()).await.map_err(fail)?;
    for bike in &BIKES {
        shop.enter(bike).await?;
    }
    for bike in &BIKES {
        shop.tell(bike).await?;
    }
    Ok(())
}

fn fail(status: tonic::Status) -> Fail {
    status_fail(&status)
}

impl Shop {
    /// A machine with all its visits, in the order they took place.
    async fn enter(&mut self, bike: &Bike) -> Result<(), Fail> {
        for spring in records::springs(bike) {
            self.rack.create_spring(spring).await.map_err(fail)?;
        }
        let rider = self.book.create_rider(records::rider(bike)).await.map_err(fail)?;
        let rider = rider.into_inner().name;
        let mut fitted = Fitted::as_bought(bike);
        let machine = records::machine(bike, &fitted, &rider);
        self.book.create_machine(machine).await.map_err(fail)?;
        let mut revision = 1;
        for (index, visit) in bike.visits.iter().enumerate() {
            let found = fitted;
            for done in visit.done {
                fitted.change(*done, visit.day);
            }
            // What is fitted now is a new revision; what was found is pinned to the one before.
            let before = revision;
            if found != fitted {
                let update = records::fitted_again(bike, &fitted);
                let updated = self.book.update_machine(update).await.map_err(fail)?;
                revision = updated.into_inner().revision;
            }
            let setup = records::setup(bike, (index, visit), (&found, &fitted), (before, revision), &rider);
            self.book.create_setup(setup).await.map_err(fail)?;
        }
        self.book.create_job_sheet(records::sheet(bike)).await.map_err(fail)?;
        Ok(())
    }

    /// What the visits of a machine say, what its last one asks for, and what comes next.
    async fn tell(&mut self, bike: &Bike) -> Result<(), Fail> {
        let followed = self.book.follow_machine(records::follow(bike)).await.map_err(fail)?;
        let judged = self.setup.judge_setup(records::judge(bike)).await.map_err(fail)?;
        let ahead = self
            .setup
            .forecast_limits(records::forecast(bike))
            .await
            .map_err(fail)?;
        let mut out = Out::stdout();
        out.line(format_args!(
            "\n== machines/{}: {}; {} visits; invented, simulated ==",
            bike.id,
            bike.story,
            bike.visits.len()
        ))?;
        for trend in &followed.get_ref().trends {
            out.line(format_args!("history  {}", clean(&trend.text)))?;
        }
        let judged = judged.into_inner();
        for (index, verdict) in judged.verdicts.iter().enumerate() {
            let first = judged.first_change.and_then(|first| usize::try_from(first).ok()) == Some(index);
            let mark = if first { ", first" } else { "" };
            out.line(format_args!("verdict  {}{mark}", clean(&verdict.text)))?;
        }
        let ahead = ahead.into_inner();
        for step in &ahead.steps {
            let what = if step.label.is_empty() {
                words::remedy(step.remedy)
            } else {
                &step.label
            };
            let total = step.total.as_ref().and_then(|total| total.units).unwrap_or_default();
            out.line(format_args!(
                "ahead    from pace {:.2}: {} {}; {total} {} in all",
                step.pace_ratio,
                words::end(step.end),
                clean(what),
                ahead.currency_code
            ))?;
        }
        Ok(out.flush()?)
    }
}

/// Whether work was done on the fork, else on the shock.
fn on_fork(done: Done) -> bool {
    match done {
        Done::Oil(front) | Done::Springs(front) | Done::Valving(front, _) => front,
    }
}
