//! Changes of batch tickets.

use app::{
    AllocationChoice, FillingCounts, FillingWrite, ReworkWrite, SpoiledComponent, TicketAllocate, TicketAsks,
    TicketCancel, TicketComplete, TicketSize, TicketSubject, TicketWeigh, TicketWrite, WeighingHow,
    WeighingTakeBack, WeighingWrite,
};
use async_graphql::{Context, ID, InputObject, Object, OneofObject};
use domain::{people::Capability, tickets::Ticket as Row};
use kernel::{
    Count, Density,
    ids::{BalanceId, LotId},
    limits::TICKET_WEIGHINGS_MAX,
};
use std::collections::HashMap;

use crate::{
    amounts::QuantityInput,
    caller::{Desk, Find as _, lot_named, ticket_id_named},
    changes::{Reading, answers, require},
    errors::Result,
    ids::{Which, read},
    scalars::{Date, DateTime, Decimal},
    tickets::Ticket,
};

/// A ticket to be written.
#[derive(InputObject)]
pub struct TicketWriteInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// From what.
    pub of: TicketSubjectInput,
    /// How much.
    pub size: TicketSizeInput,
    /// For which day.
    pub planned_for: Date,
    /// The ticket's number; made when nothing is said.
    pub number: Option<String>,
    /// Remarks.
    pub note: Option<String>,
    /// Every weighing has to be looked at by a second person before the batch is made.
    #[graphql(default)]
    pub second_check_everywhere: bool,
    /// Or only those of the lines at these positions.
    #[graphql(default)]
    pub second_check_lines: Vec<u32>,
    /// An earlier lot of the same product that is worked in; everything else makes up the rest of the batch.
    pub rework: Option<ReworkInput>,
}

/// An earlier lot that is worked into a batch.
#[derive(InputObject)]
pub struct ReworkInput {
    /// The lot, of what the formula makes.
    pub lot: Which,
    /// How much of it, a mass. More than a tenth of the batch takes the right to release and reject.
    pub amount: QuantityInput,
}

/// What a ticket is written from.
#[derive(OneofObject)]
pub enum TicketSubjectInput {
    /// The version of a formula that is approved on the day.
    Formula(Which),
    /// This version, by global id.
    Version(ID),
    /// The approved version of what is filled into a pack.
    Pack(Which),
}

/// How much is to be made.
#[derive(OneofObject)]
pub enum TicketSizeInput {
    /// What is charged in all, a mass.
    Batch(QuantityInput),
    /// Good units of the pack to be filled, those kept back from sale among them; the charge follows from fill, overfill and losses.
    Units(Decimal),
}

/// Lots to be promised to a ticket.
#[derive(InputObject)]
pub struct TicketAllocateInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// Lots chosen by hand; lines without a choice are filled first expired, first out.
    #[graphql(default)]
    pub choices: Vec<AllocationChoiceInput>,
}

/// One lot chosen for one line.
#[derive(InputObject)]
pub struct AllocationChoiceInput {
    /// The position of the line.
    pub line: u32,
    /// The lot.
    pub lot: Which,
    /// How much of it, a mass.
    pub quantity: QuantityInput,
}

/// Weighings of a ticket, entered together: all of them or none.
#[derive(InputObject)]
pub struct TicketWeighInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// What was weighed.
    pub weighings: Vec<WeighingInput>,
    /// The day it was done; today when nothing is said.
    pub on: Option<Date>,
}

/// One weighing, as it is entered.
#[derive(InputObject)]
pub struct WeighingInput {
    /// The position of the line.
    pub line: u32,
    /// The lot; nothing for a utility, which has none.
    pub lot: Option<Which>,
    /// What the balance said, net, a mass. May be left out where gross and tare are given.
    pub amount: Option<QuantityInput>,
    /// What the balance showed with the container, a mass.
    pub gross: Option<QuantityInput>,
    /// The container alone, a mass.
    pub tare: Option<QuantityInput>,
    /// The balance, by its code.
    pub balance: Option<String>,
    /// When it was weighed, when that was before now; the entry is then marked as late.
    pub done_at: Option<DateTime>,
    /// It is another weighing, though one of the same line, lot and amount was entered shortly before.
    #[graphql(default)]
    pub another: bool,
    /// Of an addition until a result is reached: the result before.
    pub result_before: Option<String>,
    /// And after.
    pub result_after: Option<String>,
    /// Minutes it was mixed in before the result was looked at.
    pub mixed_minutes: Option<u32>,
    /// Who made the second check; another person.
    pub checked_by: Option<String>,
    /// Why a lot or an amount outside the rules was taken all the same. Takes the right to release and reject.
    pub reason: Option<String>,
}

/// A weighing to be taken back.
#[derive(InputObject)]
pub struct WeighingTakeBackInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// The weighing, by global id.
    pub weighing: ID,
    /// Why.
    pub reason: String,
}

/// How a ticket ended.
#[derive(InputObject)]
pub struct TicketCompleteInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// What came out before filling, a mass.
    pub yield_mass: QuantityInput,
    /// The number of the lot it becomes; made when nothing is said.
    pub lot_number: Option<String>,
    /// Density measured on this batch, kg/L.
    #[graphql(name = "densityKgPerL")]
    pub density_kg_per_l: Option<Decimal>,
    /// What was filled.
    #[graphql(default)]
    pub fillings: Vec<FillingInput>,
    /// In-process checks and remarks; needed when more came out than went in.
    pub note: Option<String>,
    /// The business day; today when nothing is said.
    pub on: Option<Date>,
}

/// Units filled of one pack.
#[derive(InputObject)]
pub struct FillingInput {
    /// The pack.
    pub pack: Which,
    /// Good units filled, those kept back from sale among them.
    pub filled: Decimal,
    /// The number of the lot they become; made when nothing is said.
    pub lot_number: Option<String>,
    /// Components spoiled on the line, on top of those the good units took.
    #[graphql(default)]
    pub spoiled: Vec<SpoiledComponentInput>,
}

/// Pieces of a component spoiled on the line.
#[derive(InputObject)]
pub struct SpoiledComponentInput {
    /// The component, one of the pack's.
    pub material: Which,
    /// How many pieces.
    pub pieces: Decimal,
}

/// A ticket to be given up.
#[derive(InputObject)]
pub struct TicketCancelInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// Why.
    pub reason: String,
}

answers! {
    TicketWriteResult = TicketWritePayload {
        /// The ticket, planned.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
    TicketAllocateResult = TicketAllocatePayload {
        /// The ticket with its promises.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
    TicketWeighResult = TicketWeighPayload {
        /// The ticket as it now is.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
    WeighingTakeBackResult = WeighingTakeBackPayload {
        /// The ticket as it now is.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
    TicketCompleteResult = TicketCompletePayload {
        /// The ticket, complete.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
    TicketCancelResult = TicketCancelPayload {
        /// The ticket, cancelled.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
}

/// Changes of batch tickets.
#[derive(Default)]
pub struct TicketChanges;

/// Changes of batch tickets.
#[Object]
impl TicketChanges {
    /// Writes a ticket: a frozen copy of an approved version, its targets adding up to the batch. Takes the right to plan and make.
    /// Refused: VersionNotApproved, Taken.
    async fn ticket_write(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket.")] input: TicketWriteInput,
    ) -> Result<TicketWriteResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let catalogue = ctx.catalogue()?;
        let subject = match &input.of {
            TicketSubjectInput::Formula(which) => {
                TicketSubject::Formula(catalogue.formula(which, "of.formula")?.id)
            }
            TicketSubjectInput::Version(id) => TicketSubject::Version(read(id, "of.version")?),
            TicketSubjectInput::Pack(which) => {
                TicketSubject::Pack(catalogue.pack_named(which, "of.pack")?.id)
            }
        };
        let mut reading = Reading::default();
        let size = match input.size {
            TicketSizeInput::Batch(batch) => reading.take("size.batch", batch.mass()).map(TicketSize::Batch),
            TicketSizeInput::Units(units) => {
                reading.take("size.units", Count::from_pieces(units.0)).map(TicketSize::Units)
            }
        };
        let rework = match input.rework {
            None => None,
            Some(rework) => {
                let lots = LotsNamed::of(ctx, std::iter::once(&rework.lot)).await?;
                let lot = lots.find(ctx, &rework.lot, "rework.lot").await?;
                let amount = reading.take("rework.amount", rework.amount.mass());
                amount.map(|amount| ReworkWrite { lot, amount })
            }
        };
        let read = TicketWrite {
            subject,
            size: reading.finish(size)?,
            planned_for: input.planned_for.0,
            number: input.number,
            note: input.note,
            asks: TicketAsks {
                second_check_everywhere: input.second_check_everywhere,
                second_check_lines: input.second_check_lines,
                rework,
            },
        };
        TicketWriteResult::of(ctx, ctx.house()?.ticket_write(&change, read).await)
    }

    /// Promises lots to a ticket: those chosen by hand, and for the rest first expired, first out; all lines or none. Allocating again
    /// lets go of the earlier promises first. Takes the right to plan and make. Refused: TicketNotReady, ShelfShort, LotShort,
    /// LotNotUsable, LotOfOtherMaterial.
    async fn ticket_allocate(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket and the choices.")] input: TicketAllocateInput,
    ) -> Result<TicketAllocateResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        refuse_too_many("choices", input.choices.len())?;
        let ticket = ticket_id_named(ctx, &input.ticket, "ticket").await?;
        let lots = LotsNamed::of(ctx, input.choices.iter().map(|choice| &choice.lot)).await?;
        let mut reading = Reading::default();
        let mut choices = Vec::with_capacity(input.choices.len());
        for (at, choice) in input.choices.into_iter().enumerate() {
            let lot = lots.find(ctx, &choice.lot, &format!("choices[{at}].lot")).await?;
            let quantity = reading.take(&format!("choices[{at}].quantity"), choice.quantity.mass());
            if let Some(quantity) = quantity {
                choices.push(AllocationChoice { line: choice.line, lot, quantity });
            }
        }
        let read = TicketAllocate { ticket, choices: reading.finish(Some(choices))? };
        TicketAllocateResult::of(ctx, ctx.house()?.ticket_allocate(&change, read).await)
    }

    /// Enters weighings. The stock goes down by what was really weighed, from the lots it was weighed from; all of them or none. A lot
    /// that may not be used, and an amount outside the tolerance, take a reason and the right to release and reject. Takes the right to
    /// plan and make. Refused: TicketNotReady, TicketPaused, LotShort, LotNotUsable, LotOfOtherMaterial, OutsideTolerance,
    /// BalanceNotFit, EnteredBefore.
    async fn ticket_weigh(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket and the weighings.")] input: TicketWeighInput,
    ) -> Result<TicketWeighResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        refuse_too_many("weighings", input.weighings.len())?;
        let ticket = ticket_id_named(ctx, &input.ticket, "ticket").await?;
        let lots = LotsNamed::of(ctx, input.weighings.iter().filter_map(|w| w.lot.as_ref())).await?;
        let mut reading = Reading::default();
        let mut weighings = Vec::with_capacity(input.weighings.len());
        let mut balances = BalancesNamed::default();
        for (at, weighing) in input.weighings.into_iter().enumerate() {
            let lot = match &weighing.lot {
                None => None,
                Some(which) => Some(lots.find(ctx, which, &format!("weighings[{at}].lot")).await?),
            };
            let place = format!("weighings[{at}]");
            let mut mass = |field: &str, given: Option<QuantityInput>| {
                let read = reading.optional(&format!("{place}.{field}"), given.map(QuantityInput::mass));
                read.flatten()
            };
            let (amount, gross, tare) =
                (mass("amount", weighing.amount), mass("gross", weighing.gross), mass("tare", weighing.tare));
            let net = gross.map(|gross| gross.checked_sub(tare.unwrap_or_default()));
            let Some(amount) = amount.or(net.and_then(std::result::Result::ok)) else {
                reading.push(&format!("{place}.amount"), "say what was weighed, net, or gross and tare");
                continue;
            };
            let balance = match &weighing.balance {
                None => None,
                Some(code) => balances.find(ctx, code, &format!("{place}.balance"), &mut reading).await?,
            };
            weighings.push(WeighingWrite {
                line: weighing.line,
                lot,
                amount,
                checked_by: weighing.checked_by,
                reason: weighing.reason,
                how: WeighingHow {
                    gross,
                    tare,
                    balance,
                    done_at: weighing.done_at.map(|at| at.0),
                    another: weighing.another,
                    result_before: weighing.result_before,
                    result_after: weighing.result_after,
                    mixed_minutes: weighing.mixed_minutes,
                },
            });
        }
        let read = TicketWeigh {
            ticket,
            weighings: reading.finish(Some(weighings))?,
            on: input.on.map(|day| day.0),
        };
        TicketWeighResult::of(ctx, ctx.house()?.ticket_weigh(&change, read).await)
    }

    /// Takes a weighing back: what it took returns to its lot, at the value it left with. Takes the right to plan and make. Refused:
    /// TicketNotReady, NotReversible.
    async fn weighing_take_back(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The weighing, and why.")] input: WeighingTakeBackInput,
    ) -> Result<WeighingTakeBackResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let read = WeighingTakeBack {
            ticket: ticket_id_named(ctx, &input.ticket, "ticket").await?,
            weighing: read(&input.weighing, "weighing")?,
            reason: input.reason,
        };
        WeighingTakeBackResult::of(ctx, ctx.house()?.weighing_take_back(&change, read).await)
    }

    /// Completes a ticket: makes its lot, fills packs from it, uses up components, lets go of promises that were not needed. Takes the
    /// right to plan and make. Refused: TicketNotReady, TicketPaused, LinesNotWeighed, NotChecked,
    /// ChecksNotMet, MoreThanThereIs, ShelfShort, Taken.
    async fn ticket_complete(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket and what came out.")] input: TicketCompleteInput,
    ) -> Result<TicketCompleteResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key.clone())?;
        refuse_too_many("fillings", input.fillings.len())?;
        let ticket = ticket_id_named(ctx, &input.ticket, "ticket").await?;
        let catalogue = ctx.catalogue()?;
        let mut reading = Reading::default();
        let yield_mass = reading.take("yieldMass", input.yield_mass.mass());
        let density = reading.optional(
            "densityKgPerL",
            input.density_kg_per_l.map(|figure| Density::from_kg_per_litre(figure.0)),
        );
        let mut fillings = Vec::with_capacity(input.fillings.len());
        for (at, filling) in input.fillings.into_iter().enumerate() {
            let place = format!("fillings[{at}]");
            let pack = catalogue.pack_named(&filling.pack, &format!("{place}.pack"))?.id;
            let filled = reading.take(&format!("{place}.filled"), Count::from_pieces(filling.filled.0));
            let mut spoiled = Vec::with_capacity(filling.spoiled.len());
            for (at, component) in filling.spoiled.into_iter().enumerate() {
                let place = format!("{place}.spoiled[{at}]");
                let material = catalogue.material(&component.material, &format!("{place}.material"))?.id;
                let pieces = reading.take(&format!("{place}.pieces"), Count::from_pieces(component.pieces.0));
                spoiled.extend(pieces.map(|pieces| SpoiledComponent { material, pieces }));
            }
            if let Some(filled) = filled {
                fillings.push(FillingWrite {
                    pack,
                    filled,
                    lot_number: filling.lot_number,
                    spoiled,
                    counts: FillingCounts::default(),
                });
            }
        }
        let (yield_mass, density) = reading.finish(yield_mass.zip(density))?;
        let read = TicketComplete {
            ticket,
            yield_mass,
            lot_number: input.lot_number,
            density,
            fillings,
            note: input.note,
            on: input.on.map(|day| day.0),
        };
        TicketCompleteResult::of(ctx, ctx.house()?.ticket_complete(&change, read).await)
    }

    /// Gives a ticket up before anything was weighed, and lets go of its promises. Takes the right to plan and make. Refused:
    /// TicketNotReady.
    async fn ticket_cancel(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket, and why.")] input: TicketCancelInput,
    ) -> Result<TicketCancelResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let read = TicketCancel {
            ticket: ticket_id_named(ctx, &input.ticket, "ticket").await?,
            reason: input.reason,
        };
        TicketCancelResult::of(ctx, ctx.house()?.ticket_cancel(&change, read).await)
    }
}

/// Refuses longer lists than a ticket can have before any of their lots is looked up.
fn refuse_too_many(place: &'static str, found: usize) -> Result<()> {
    if found <= TICKET_WEIGHINGS_MAX {
        return Ok(());
    }
    let text = format!("these are {found}; a ticket has at most {TICKET_WEIGHINGS_MAX}");
    Err(app::Error::invalid(place, text).into())
}

/// Lots by what they were called, all looked up at once.
struct LotsNamed(HashMap<String, LotId>);

impl LotsNamed {
    async fn of(ctx: &Context<'_>, named: impl Iterator<Item = &Which>) -> Result<Self> {
        let numbers: Vec<String> = named
            .filter_map(|which| match which {
                Which::Id(_) => None,
                Which::Code(number) => Some(number.clone()),
            })
            .collect();
        if numbers.is_empty() {
            return Ok(Self(HashMap::new()));
        }
        let lots = ctx.house()?.lots_by_number(ctx.actor()?, &numbers).await?;
        Ok(Self(lots.into_iter().map(|lot| (domain::text::code_key(&lot.number), lot.id)).collect()))
    }

    async fn find(&self, ctx: &Context<'_>, which: &Which, place: &str) -> Result<LotId> {
        let number = match which {
            // Whether there is such a lot is for the use case to say.
            Which::Id(id) => return Ok(read(id, &format!("{place}.id"))?),
            Which::Code(number) => domain::text::code_key(number),
        };
        if let Some(lot) = self.0.get(&number) {
            return Ok(*lot);
        }
        // It is not there; or it came in just now.
        Ok(lot_named(ctx, which, place).await?.id)
    }
}

/// Balances by their codes, all looked up once.
#[derive(Default)]
struct BalancesNamed(Option<HashMap<String, BalanceId>>);

impl BalancesNamed {
    async fn find(
        &mut self,
        ctx: &Context<'_>,
        code: &str,
        place: &str,
        reading: &mut Reading,
    ) -> Result<Option<BalanceId>> {
        if self.0.is_none() {
            let known = ctx.house()?.balances(ctx.actor()?).await?;
            self.0 = Some(known.into_iter().map(|b| (domain::text::code_key(&b.code), b.id)).collect());
        }
        let found = self.0.as_ref().and_then(|known| known.get(&domain::text::code_key(code))).copied();
        if found.is_none() {
            reading.push(place, "there is no balance of that code");
        }
        Ok(found)
    }
}
