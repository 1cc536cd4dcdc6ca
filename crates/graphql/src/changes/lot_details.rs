//! Changes of what is known of a lot beyond its balances: orders, containers, certificates, documents, places.

use app::{
    ContainerChange, ContainerNow, ContainerRepack, ContainerWrite, ContainersAdd, LotCertificate,
    LotDocumentAdd, LotOrder, LotRetest, LotTransfer,
};
use async_graphql::{Context, InputObject, Object};
use domain::{
    locations::Location as PlaceRow,
    lots::{
        Lot as Row,
        containers::ContainerState as State,
        papers::{Finding, LotDocument as DocumentRow, LotResult as ResultRow},
    },
    people::Capability,
};
use kernel::{Density, Percent, ids::ContainerId};

use crate::{
    amounts::QuantityInput,
    caller::{Desk, Find as _, lot_named},
    changes::{Reading, answers, require},
    errors::Result,
    ids::Which,
    lot_details::{Container, ContainerState, DocumentKind, Location, LotDocument},
    lots::Lot,
    scalars::{Date, Decimal},
};

/// A container as it is entered: its gross and tare weights, or what is in it.
#[derive(InputObject)]
pub struct ContainerInput {
    /// What it is: drum, can, sack.
    pub kind: Option<String>,
    /// Weighed with what is in it.
    pub gross: Option<QuantityInput>,
    /// Weighed, or marked on it, without.
    pub tare: Option<QuantityInput>,
    /// What is in it, when it is not weighed gross and tare.
    pub net: Option<QuantityInput>,
    /// Where it stands, when not with its lot.
    pub location: Option<String>,
    /// Remarks.
    pub note: Option<String>,
}

impl ContainerInput {
    pub(crate) fn read(self, reading: &mut Reading, place: &str) -> ContainerWrite {
        let mut mass = |at: &str, input: Option<QuantityInput>| {
            reading.optional(&format!("{place}.{at}"), input.map(QuantityInput::mass)).flatten()
        };
        let (gross, tare) = (mass("gross", self.gross), mass("tare", self.tare));
        let net = reading.optional(&format!("{place}.net"), self.net.map(QuantityInput::quantity)).flatten();
        ContainerWrite { kind: self.kind, gross, tare, net, location: self.location, note: self.note }
    }
}

/// One result of a certificate of analysis: a figure, or words.
#[derive(InputObject)]
pub struct LotResultInput {
    /// What was examined.
    pub name: String,
    /// How.
    pub method: Option<String>,
    /// The figure found.
    pub figure: Option<Decimal>,
    /// Or what was found in words.
    pub words: Option<String>,
    /// The unit of the figure and of its limits.
    pub unit: Option<String>,
    /// The least the specification allows.
    pub least: Option<Decimal>,
    /// The most the specification allows.
    pub most: Option<Decimal>,
}

impl LotResultInput {
    pub(crate) fn read(self, reading: &mut Reading, place: &str) -> Option<ResultRow> {
        let found = match (self.figure, self.words) {
            (Some(figure), None) => Finding::Figure(figure.0),
            (None, Some(words)) => Finding::Words(words),
            _ => {
                reading.push(place, "give a figure or words");
                return None;
            }
        };
        Some(ResultRow {
            name: self.name,
            method: self.method,
            found,
            unit: self.unit,
            least: self.least.map(|figure| figure.0),
            most: self.most.map(|figure| figure.0),
        })
    }
}

/// Something ordered.
#[derive(InputObject)]
pub struct LotOrderInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The number its lot will have; made when nothing is said.
    pub number: Option<String>,
    /// What is ordered.
    pub material: Which,
    /// How much.
    pub quantity: QuantityInput,
    /// From whom.
    pub supplier: Option<Which>,
    /// The day it is expected.
    pub due_on: Option<Date>,
    /// Remarks: the order's reference.
    pub note: Option<String>,
}

/// Containers of a lot that were not entered with its receipt.
#[derive(InputObject)]
pub struct ContainersAddInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The lot.
    pub lot: Which,
    /// What it came in.
    pub containers: Vec<ContainerInput>,
}

/// A change of how one container stands.
#[derive(InputObject)]
pub struct ContainerChangeInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The lot.
    pub lot: Which,
    /// Which of its containers, from 1.
    pub container: u32,
    /// How it stands from now; as it is when nothing is said.
    pub state: Option<ContainerState>,
    /// The day it was opened.
    pub opened_on: Option<Date>,
    /// Why; needed to set it aside, to reject it, and to take that back.
    pub reason: Option<String>,
}

/// What one container held, filled into others.
#[derive(InputObject)]
pub struct ContainerRepackInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The lot.
    pub lot: Which,
    /// Which of its containers was emptied, from 1.
    pub from: u32,
    /// What it went into.
    pub into: Vec<ContainerInput>,
    /// The day; today when nothing is said.
    pub on: Option<Date>,
    /// Remarks.
    pub reason: Option<String>,
}

/// A lot, or one container of it, brought to another place.
#[derive(InputObject)]
pub struct LotTransferInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The lot.
    pub lot: Which,
    /// Only this container of it, from 1.
    pub container: Option<u32>,
    /// The code of the place it goes to.
    pub to: String,
    /// Why.
    pub reason: Option<String>,
}

/// A certificate of analysis.
#[derive(InputObject)]
pub struct LotCertificateInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The lot.
    pub lot: Which,
    /// Its density, kg/L; as it is when nothing is said.
    #[graphql(name = "densityKgPerL")]
    pub density_kg_per_l: Option<Decimal>,
    /// Its active matter, %; as it is when nothing is said.
    pub active_matter_percent: Option<Decimal>,
    /// Everything else that was found; replaces what was entered before.
    #[graphql(default)]
    pub results: Vec<LotResultInput>,
}

/// A document kept elsewhere.
#[derive(InputObject)]
pub struct LotDocumentAddInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The lot.
    pub lot: Which,
    /// What it is.
    pub kind: DocumentKind,
    /// Where it lies: an address or a file's name.
    pub link: String,
    /// Its SHA-256, 64 hexadecimal digits.
    pub sha256: String,
}

/// A retest that a lot passed.
#[derive(InputObject)]
pub struct LotRetestInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The lot.
    pub lot: Which,
    /// The day until which it may be used now.
    pub until: Date,
    /// What was examined and found.
    pub reason: String,
}

/// A place where lots stand.
#[derive(InputObject)]
pub struct LocationPutInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// Its short code; one that is there is written anew.
    pub code: String,
    /// What it is called.
    pub name: String,
    /// Remarks.
    pub note: Option<String>,
}

fn shown(containers: Vec<ContainerNow>) -> Vec<Container> {
    containers.into_iter().map(Container).collect()
}

answers! {
    LotOrderResult = LotOrderPayload {
        /// The lot, on order.
        lot: Lot
    } of Row: |_, row| Ok(Lot(row));
    ContainersAddResult = ContainersAddPayload {
        /// The containers of the lot as they now are.
        containers: Vec<Container>
    } of Vec<ContainerNow>: |_, rows| Ok(shown(rows));
    ContainerChangeResult = ContainerChangePayload {
        /// The containers of the lot as they now are.
        containers: Vec<Container>
    } of Vec<ContainerNow>: |_, rows| Ok(shown(rows));
    ContainerRepackResult = ContainerRepackPayload {
        /// The containers of the lot as they now are.
        containers: Vec<Container>
    } of Vec<ContainerNow>: |_, rows| Ok(shown(rows));
    LotTransferResult = LotTransferPayload {
        /// The lot as it now is.
        lot: Lot
    } of Row: |_, row| Ok(Lot(row));
    LotCertificateResult = LotCertificatePayload {
        /// The lot as it now is.
        lot: Lot
    } of Row: |_, row| Ok(Lot(row));
    LotDocumentAddResult = LotDocumentAddPayload {
        /// The document.
        document: LotDocument
    } of DocumentRow: |_, row| Ok(row.into());
    LotRetestResult = LotRetestPayload {
        /// The lot as it now is.
        lot: Lot
    } of Row: |_, row| Ok(Lot(row));
    LocationPutResult = LocationPutPayload {
        /// The place.
        location: Location
    } of PlaceRow: |_, row| Ok(row.into());
}

/// Changes of what is known of lots.
#[derive(Default)]
pub struct LotDetailChanges;

/// Changes of what is known of lots.
#[Object]
impl LotDetailChanges {
    /// Enters what was ordered as a lot that is not there yet. Takes the right to buy. Refused: Taken.
    async fn lot_order(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The order.")] input: LotOrderInput,
    ) -> Result<LotOrderResult> {
        require(ctx, Capability::Buy)?;
        let change = ctx.change(input.request_key)?;
        let catalogue = ctx.catalogue()?;
        let material = catalogue.material(&input.material, "material")?.id;
        let supplier = input.supplier.map(|which| catalogue.supplier(&which, "supplier")).transpose()?;
        let mut reading = Reading::default();
        let quantity = reading.take("quantity", input.quantity.quantity());
        let read = LotOrder {
            number: input.number,
            material,
            quantity: reading.finish(quantity)?,
            supplier: supplier.map(|supplier| supplier.id),
            due_on: input.due_on.map(|day| day.0),
            note: input.note,
        };
        LotOrderResult::of(ctx, ctx.house()?.lot_order(&change, read).await)
    }

    /// Enters the containers a lot came in. Takes the right to buy.
    async fn containers_add(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The lot and its containers.")] input: ContainersAddInput,
    ) -> Result<ContainersAddResult> {
        require(ctx, Capability::Buy)?;
        let change = ctx.change(input.request_key)?;
        let lot = lot_named(ctx, &input.lot, "lot").await?.id;
        let containers = read_containers(input.containers, "containers")?;
        let read = ContainersAdd { lot, containers };
        ContainersAddResult::of(ctx, ctx.house()?.containers_add(&change, read).await)
    }

    /// Opens a container, says that it is empty (right to plan and make), sets it aside, rejects it, or takes that back (right to
    /// release and reject). What stands in a container set aside or rejected is not available, while the rest of its lot is.
    async fn container_change(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The container and how it stands.")] input: ContainerChangeInput,
    ) -> Result<ContainerChangeResult> {
        let state: Option<State> = input.state.map(Into::into);
        let decides = state.is_some_and(|state| state != State::Emptied);
        require(ctx, if decides { Capability::ReleaseAndReject } else { Capability::PlanAndMake })?;
        let change = ctx.change(input.request_key)?;
        let lot = lot_named(ctx, &input.lot, "lot").await?;
        let read = ContainerChange {
            container: container_of(ctx, &lot, input.container).await?,
            state,
            opened_on: input.opened_on.map(|day| day.0),
            reason: input.reason,
        };
        ContainerChangeResult::of(ctx, ctx.house()?.container_change(&change, read).await)
    }

    /// Fills what one container holds into others; lot, dates and status go along, what is lost is written off. Takes the right to plan
    /// and make.
    async fn container_repack(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "From which container into which.")] input: ContainerRepackInput,
    ) -> Result<ContainerRepackResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let lot = lot_named(ctx, &input.lot, "lot").await?;
        let read = ContainerRepack {
            from: container_of(ctx, &lot, input.from).await?,
            into: read_containers(input.into, "into")?,
            on: input.on.map(|day| day.0),
            reason: input.reason,
        };
        ContainerRepackResult::of(ctx, ctx.house()?.container_repack(&change, read).await)
    }

    /// Brings a lot, or one container of it, to another place. Takes the right to plan and make.
    async fn lot_transfer(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What goes where.")] input: LotTransferInput,
    ) -> Result<LotTransferResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let lot = lot_named(ctx, &input.lot, "lot").await?;
        let container = match input.container {
            None => None,
            Some(position) => Some(container_of(ctx, &lot, position).await?),
        };
        let read = LotTransfer { lot: lot.id, container, to: input.to, reason: input.reason };
        LotTransferResult::of(ctx, ctx.house()?.lot_transfer(&change, read).await)
    }

    /// Enters the certificate of analysis of a lot; tickets and costs use its density and active matter. Takes the right to release and
    /// reject.
    async fn lot_certificate(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The certificate.")] input: LotCertificateInput,
    ) -> Result<LotCertificateResult> {
        require(ctx, Capability::ReleaseAndReject)?;
        let change = ctx.change(input.request_key)?;
        let lot = lot_named(ctx, &input.lot, "lot").await?.id;
        let mut reading = Reading::default();
        let density = reading.optional(
            "densityKgPerL",
            input.density_kg_per_l.map(|figure| Density::from_kg_per_litre(figure.0)),
        );
        let active_matter = reading.optional(
            "activeMatterPercent",
            input.active_matter_percent.map(|figure| Percent::from_percent(figure.0)),
        );
        let results: Vec<ResultRow> = input
            .results
            .into_iter()
            .enumerate()
            .filter_map(|(at, result)| result.read(&mut reading, &format!("results[{at}]")))
            .collect();
        let (density, active_matter) = reading.finish(density.zip(active_matter))?;
        let read = LotCertificate { lot, density, active_matter, results };
        LotCertificateResult::of(ctx, ctx.house()?.lot_certificate(&change, read).await)
    }

    /// Notes a document kept elsewhere on a lot. Takes the right to plan and make.
    async fn lot_document_add(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The document.")] input: LotDocumentAddInput,
    ) -> Result<LotDocumentAddResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let lot = lot_named(ctx, &input.lot, "lot").await?.id;
        let read = LotDocumentAdd { lot, kind: input.kind.into(), link: input.link, sha256: input.sha256 };
        LotDocumentAddResult::of(ctx, ctx.house()?.lot_document_add(&change, read).await)
    }

    /// Gives a lot that passed its retest until a day to be used; the retest date it came with stays. Takes the right to release and
    /// reject.
    async fn lot_retest(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The retest.")] input: LotRetestInput,
    ) -> Result<LotRetestResult> {
        require(ctx, Capability::ReleaseAndReject)?;
        let change = ctx.change(input.request_key)?;
        let lot = lot_named(ctx, &input.lot, "lot").await?.id;
        let read = LotRetest { lot, until: input.until.0, reason: input.reason };
        LotRetestResult::of(ctx, ctx.house()?.lot_retest(&change, read).await)
    }

    /// Enters a place where lots stand, or writes the one of that code anew. Once there is one, lots go to places that are known. Takes
    /// the right to administer.
    async fn location_put(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The place.")] input: LocationPutInput,
    ) -> Result<LocationPutResult> {
        require(ctx, Capability::Administer)?;
        let change = ctx.change(input.request_key)?;
        let read = PlaceRow { code: input.code, name: input.name, note: input.note };
        LocationPutResult::of(ctx, ctx.house()?.location_put(&change, read).await)
    }
}

/// The container of a lot at a position.
pub(crate) async fn container_of(ctx: &Context<'_>, lot: &Row, position: u32) -> Result<ContainerId> {
    let containers = ctx.house()?.containers_of_lot(ctx.actor()?, lot).await?;
    containers
        .iter()
        .find(|now| now.container.position == position)
        .map(|now| now.container.id)
        .ok_or_else(|| app::Error::not_found("container", format!("{position} of lot {}", lot.number)).into())
}

fn read_containers(inputs: Vec<ContainerInput>, place: &str) -> Result<Vec<ContainerWrite>> {
    let mut reading = Reading::default();
    let containers: Vec<ContainerWrite> = inputs
        .into_iter()
        .enumerate()
        .map(|(at, input)| input.read(&mut reading, &format!("{place}[{at}]")))
        .collect();
    reading.finish(Some(containers))
}
