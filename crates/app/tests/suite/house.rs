//! A small house to test in: two raw materials, water, a bottle, a premix, a wash and its pack, read from sheets like anybody's.

use std::sync::{Arc, Mutex};

use app::{App, AppSettings, Change, Clock, LotReceive, LotStatusChange};
use chrono::{DateTime, NaiveDate, Utc};
use domain::{
    lots::{Lot, LotStatus},
    people::Actor,
};
use exchange::{NamedFile, ReadOptions};
use kernel::{Currency, DecimalMark, Mass, Money, Quantity, Unit};
use testkit::db::TestDatabase;

pub const MATERIALS: &str = "\
code,name,kind,density,shelf life,period after opening,use level to,use level kind
WAT,Water,utility,0.998,,,,
SLES,Ether sulfate 70 %,raw material,1.05,24 months,,,
PRES,Preservative,raw material,1.1,24 months,,1 %,legal
GUM,Gum,raw material,,36 months,6 months,,
BOT,Bottle 500 mL,packaging component,,,,,
STOCK,Gum stock,intermediate,1.0,,,,
WASH,Hand wash bulk,bulk,1.03,,,,
";
pub const SUPPLIERS: &str = "code,name,currency\nOAK,Oakhollow Supplies,GBP\nWELL,Wellbrook Water,GBP\n";
pub const QUOTATIONS: &str = "\
quotation,supplier,material,pack,price,price per,valid from
W-1,WELL,WAT,1000 kg,2.00,pack,2026-01-01
O-1,OAK,SLES,100 kg,1.50,kg,2026-01-01
O-2,OAK,PRES,5 kg,10.00,kg,2026-01-01
O-3,OAK,GUM,1 kg,20.00,kg,2026-01-01
O-4,OAK,BOT,1000 pcs,200.00,pack,2026-01-01
";
pub const FORMULAS: &str = "\
formula,name,version,status,makes,written as,usual batch,density,process loss,cost per batch,shelf life,approved by,approved on
PM-1,Gum stock,1,approved,STOCK,percent,50 kg,,,,3 months,A. Penhallow,2026-01-05
HW-1,Hand wash,1,approved,WASH,percent,100 kg,1.03,2 %,40.00,24 months,A. Penhallow,2026-01-05
HW-1,Hand wash,2,draft,WASH,percent,100 kg,1.03,2 %,40.00,24 months,,
";
pub const LINES: &str = "\
formula,version,line,material,amount,weighing tolerance
PM-1,1,1,GUM,2 %,
PM-1,1,2,WAT,q.s.,
HW-1,1,1,WAT,q.s.,
HW-1,1,2,STOCK,10 %,
HW-1,1,3,SLES,12 %,1 %
HW-1,1,4,PRES,0.8 %,1 %
HW-1,2,1,WAT,q.s.,
HW-1,2,2,SLES,12 %,1 %
HW-1,2,3,PRES,1.2 %,1 %
";
pub const PACKS: &str =
    "pack,name,formula,fill,overfill,price\nHW-500,Hand wash 500 mL,HW-1,500 mL,1 %,2.00\n";
pub const COMPONENTS: &str = "pack,component,quantity,per\nHW-500,BOT,1,unit\n";

/// A clock that stands still until it is moved.
pub struct HandClock(Mutex<DateTime<Utc>>);

impl Clock for HandClock {
    fn now(&self) -> DateTime<Utc> {
        *self.0.lock().unwrap()
    }
}

pub struct House {
    pub app: Arc<App>,
    pub clock: Arc<HandClock>,
    pub actor: Actor,
}

impl House {
    /// The house, open on a database, on the morning of 25 November 2026.
    pub async fn open(database: &TestDatabase) -> Self {
        let clock = Arc::new(HandClock(Mutex::new("2026-11-25T08:00:00Z".parse().unwrap())));
        let app =
            App::open(database.another_store().await, AppSettings::default(), clock.clone()).await.unwrap();
        Self { app: Arc::new(app), clock, actor: Actor::with_all_capabilities("Maud Tremayne") }
    }

    /// The house with its catalogue.
    pub async fn furnished(database: &TestDatabase) -> Self {
        let house = Self::open(database).await;
        house.import(&sheets()).await.unwrap();
        house
    }

    pub fn set_day(&self, day: &str) {
        *self.clock.0.lock().unwrap() = format!("{day}T08:00:00Z").parse().unwrap();
    }

    pub fn change(&self) -> Change<'_> {
        Change::by(&self.actor)
    }

    pub async fn import(&self, files: &[(&str, String)]) -> Result<app::import::ImportReport, app::Error> {
        let named: Vec<NamedFile<'_>> =
            files.iter().map(|(name, text)| NamedFile { name, bytes: text.as_bytes() }).collect();
        let options = ReadOptions::new(Currency::GBP);
        let read = exchange::read_files(&named, &options);
        assert_eq!(read.problems, vec![], "the sheets can be read");
        self.app.import_apply(&self.change(), &read.set, app::import::ImportOptions::default()).await
    }

    pub async fn receive(&self, material: &str, number: &str, quantity: &str, value: Option<&str>) -> Lot {
        let catalogue = self.app.catalogue(&self.actor).unwrap();
        let material = catalogue.materials.by_code(material).unwrap();
        let lot = self
            .app
            .lot_receive(
                &self.change(),
                LotReceive {
                    number: Some(number.to_owned()),
                    material: material.id,
                    quantity: quantity_of(quantity),
                    value: value.map(pounds),
                    unit_cost: None,
                    supplier: None,
                    supplier_lot: None,
                    received_on: None,
                    made_on: None,
                    expires_on: None,
                    retest_on: None,
                    density: None,
                    active_matter: None,
                    location: None,
                    note: None,
                    more: app::ReceiptMore::default(),
                },
            )
            .await
            .unwrap();
        self.set_status(&lot, LotStatus::Released).await.unwrap()
    }

    pub async fn set_status(&self, lot: &Lot, status: LotStatus) -> Result<Lot, app::Error> {
        let reason = Some("looked at it".to_owned());
        self.app
            .lot_status_change(
                &self.change(),
                LotStatusChange { lot: lot.id, status, reason, restriction: None },
            )
            .await
    }

    pub async fn lot(&self, number: &str) -> Lot {
        self.app.lot_by_number(&self.actor, number).await.unwrap().unwrap()
    }

    /// Ledger and balances agree.
    pub async fn assert_sound(&self) {
        assert_eq!(self.app.ledger_verify(&self.actor).await.unwrap(), vec![]);
    }
}

pub fn sheets() -> Vec<(&'static str, String)> {
    vec![
        ("materials.csv", MATERIALS.to_owned()),
        ("suppliers.csv", SUPPLIERS.to_owned()),
        ("quotations.csv", QUOTATIONS.to_owned()),
        ("formulas.csv", FORMULAS.to_owned()),
        ("formula-lines.csv", LINES.to_owned()),
        ("packs.csv", PACKS.to_owned()),
        ("pack-components.csv", COMPONENTS.to_owned()),
    ]
}

pub fn quantity_of(text: &str) -> Quantity {
    Quantity::parse(text, None, DecimalMark::Point).unwrap()
}

pub fn kg(text: &str) -> Mass {
    match Quantity::parse(text, Some(Unit::Kilogram), DecimalMark::Point).unwrap() {
        Quantity::Mass(mass) => mass,
        other => panic!("{other} is not a mass"),
    }
}

pub fn pounds(text: &str) -> Money {
    Money::from_decimal(kernel::parse_decimal(text, DecimalMark::Point).unwrap(), Currency::GBP).unwrap()
}

pub fn day(text: &str) -> NaiveDate {
    domain::dates::parse_date(text).unwrap()
}

/// The refusals of an error, as their codes.
pub fn refused(error: app::Error) -> Vec<&'static str> {
    match error {
        app::Error::Refused(refusals) => refusals.iter().map(domain::Refusal::code).collect(),
        other => panic!("expected a refusal, got {other:?}"),
    }
}

/// The problems of an error, as they would be shown.
pub fn problems(error: app::Error) -> Vec<String> {
    match error {
        app::Error::Invalid(problems) => problems.iter().map(ToString::to_string).collect(),
        other => panic!("expected problems, got {other:?}"),
    }
}
