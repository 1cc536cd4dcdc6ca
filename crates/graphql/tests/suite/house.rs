//! A small house to ask: two raw materials, water, a bottle, a premix, a wash and its pack, read from sheets like anybody's.

use std::sync::{
    Arc, Mutex,
    atomic::{AtomicUsize, Ordering},
};

use app::{App, AppSettings, Change, Clock, import::ImportOptions};
use async_graphql::{Request, Response, Variables};
use chrono::{DateTime, Utc};
use domain::people::{Actor, Capability};
use exchange::{NamedFile, ReadOptions};
use graphql::{Caller, Schema};
use kernel::Currency;
use serde_json::{Value, json};
use testkit::db::TestDatabase;

const MATERIALS: &str = "\
code,name,kind,density,shelf life,period after opening,use level to,use level kind
WAT,Water,utility,0.998,,,,
SLES,Ether sulfate 70 %,raw material,1.05,24 months,,,
PRES,Preservative,raw material,1.1,24 months,,1 %,legal
GUM,Gum,raw material,,36 months,6 months,,
BOT,Bottle 500 mL,packaging component,,,,,
STOCK,Gum stock,intermediate,1.0,,,,
WASH,Hand wash bulk,bulk,1.03,,,,
";
const SUPPLIERS: &str = "code,name,currency\nOAK,Oakhollow Supplies,GBP\nWELL,Wellbrook Water,GBP\n";
const QUOTATIONS: &str = "\
quotation,supplier,material,pack,price,price per,valid from
W-1,WELL,WAT,1000 kg,2.00,pack,2026-01-01
O-1,OAK,SLES,100 kg,1.50,kg,2026-01-01
O-2,OAK,PRES,5 kg,10.00,kg,2026-01-01
O-3,OAK,GUM,1 kg,20.00,kg,2026-01-01
O-4,OAK,BOT,1000 pcs,200.00,pack,2026-01-01
";
const FORMULAS: &str = "\
formula,name,version,status,makes,written as,usual batch,density,process loss,cost per batch,shelf life,approved by,approved on
PM-1,Gum stock,1,approved,STOCK,percent,50 kg,,,,3 months,A. Penhallow,2026-01-05
HW-1,Hand wash,1,approved,WASH,percent,100 kg,1.03,2 %,40.00,24 months,A. Penhallow,2026-01-05
HW-1,Hand wash,2,draft,WASH,percent,100 kg,1.03,2 %,40.00,24 months,,
";
const LINES: &str = "\
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
const PACKS: &str = "pack,name,formula,fill,overfill,price,units a year\nHW-500,Hand wash 500 mL,HW-1,500 mL,1 %,2.00,12000\n";
const COMPONENTS: &str = "pack,component,quantity,per\nHW-500,BOT,1,unit\n";

/// A clock that stands still on the morning of 25 November 2026.
struct StandingClock(Mutex<DateTime<Utc>>);

impl Clock for StandingClock {
    fn now(&self) -> DateTime<Utc> {
        *self.0.lock().unwrap()
    }
}

/// A house, its schema, and how many statements its database was sent.
pub struct House {
    pub app: Arc<App>,
    pub schema: Schema,
    statements: Arc<AtomicUsize>,
    keys: AtomicUsize,
    database: TestDatabase,
}

impl House {
    /// The house with its catalogue and nothing on the shelf.
    pub async fn furnished() -> Self {
        Self::of_sheets(&[
            ("materials.csv", MATERIALS.to_owned()),
            ("suppliers.csv", SUPPLIERS.to_owned()),
            ("quotations.csv", QUOTATIONS.to_owned()),
            ("formulas.csv", FORMULAS.to_owned()),
            ("formula-lines.csv", LINES.to_owned()),
            ("packs.csv", PACKS.to_owned()),
            ("pack-components.csv", COMPONENTS.to_owned()),
        ])
        .await
    }

    /// A house of these sheets.
    pub async fn of_sheets(files: &[(&str, String)]) -> Self {
        let database = TestDatabase::sqlite().await;
        let statements = Arc::new(AtomicUsize::new(0));
        let counted = Arc::clone(&statements);
        let store = database.another_store().await.watched(move |_| {
            counted.fetch_add(1, Ordering::Relaxed);
        });
        let clock = StandingClock(Mutex::new("2026-11-25T08:00:00Z".parse().unwrap()));
        let app = Arc::new(App::open(store, AppSettings::default(), Arc::new(clock)).await.unwrap());
        let named: Vec<NamedFile<'_>> =
            files.iter().map(|(name, text)| NamedFile { name, bytes: text.as_bytes() }).collect();
        let read = exchange::read_files(&named, &ReadOptions::new(Currency::GBP));
        assert_eq!(read.problems, vec![], "the sheets can be read");
        let actor = Actor::with_all_capabilities("Maud Tremayne");
        app.import_apply(&Change::by(&actor), &read.set, ImportOptions::default()).await.unwrap();
        let schema = graphql::build(Arc::clone(&app));
        Self { app, schema, statements, keys: AtomicUsize::new(0), database }
    }

    /// Asks as somebody who may do everything.
    pub async fn ask_with(&self, query: &str, variables: Value) -> Response {
        self.ask_as(Actor::with_all_capabilities("Maud Tremayne"), query, variables).await
    }

    /// Asks as somebody.
    pub async fn ask_as(&self, actor: Actor, query: &str, variables: Value) -> Response {
        let request = Request::new(query).variables(Variables::from_json(variables));
        let caller = Caller::new(actor, Some("request-7".to_owned()));
        graphql::execute(&self.schema, caller, request).await
    }

    /// What is answered, which must be without error.
    pub async fn ask(&self, query: &str) -> Value {
        self.data(query, json!({})).await
    }

    /// What is answered, which must be without error.
    pub async fn data(&self, query: &str, variables: Value) -> Value {
        let response = self.ask_with(query, variables).await;
        assert!(response.errors.is_empty(), "{query}\n{:?}", response.errors);
        response.data.into_json().unwrap()
    }

    /// The code and the problems of the one error a request gets.
    pub async fn error(&self, query: &str, variables: Value) -> (String, Value) {
        error_of(&self.ask_with(query, variables).await)
    }

    /// Makes a change with a request key of its own; `input` lacks only that.
    pub async fn change(&self, name: &str, input: Value, selection: &str) -> Value {
        let key = format!("key-{}", self.keys.fetch_add(1, Ordering::Relaxed));
        self.change_keyed(name, &key, input, selection).await
    }

    /// Makes a change under a request key.
    pub async fn change_keyed(&self, name: &str, key: &str, mut input: Value, selection: &str) -> Value {
        input["requestKey"] = json!(key);
        let data = self.data(&mutation(name, selection), json!({ "input": input })).await;
        data[name].clone()
    }

    /// Takes a table away behind the programme's back.
    pub async fn lose_table(&self, table: &str) {
        use sea_orm::ConnectionTrait as _;
        let raw = self.database.raw().await;
        raw.execute_unprepared(&format!("ALTER TABLE {table} RENAME TO lost_{table}")).await.unwrap();
    }

    /// How many statements the database was sent while something was asked.
    pub async fn statements(&self, query: &str) -> usize {
        let before = self.statements.load(Ordering::Relaxed);
        self.ask(query).await;
        self.statements.load(Ordering::Relaxed) - before
    }

    /// Receives a lot worth so many pounds and releases it.
    pub async fn stock(&self, material: &str, number: &str, amount: &str, unit: &str, pounds: &str) {
        let input = json!({
            "number": number,
            "material": { "code": material },
            "quantity": { "amount": amount, "unit": unit },
            "value": { "amount": pounds, "currency": "GBP" },
            "expiresOn": "2027-06-30",
        });
        let received = self.change("lotReceive", input, "... on LotReceivePayload { lot { status } }").await;
        assert_eq!(received["lot"]["status"], "QUARANTINE", "{received}");
        let input = json!({ "lot": { "code": number }, "status": "RELEASED" });
        let released =
            self.change("lotStatusChange", input, "... on LotStatusChangePayload { lot { status } }").await;
        assert_eq!(released["lot"]["status"], "RELEASED", "{released}");
    }
}

/// A mutation of one input, with refusals spelt out.
pub fn mutation(name: &str, selection: &str) -> String {
    let mut type_name = name.to_owned();
    type_name[..1].make_ascii_uppercase();
    format!(
        "mutation($input: {type_name}Input!) {{ {name}(input: $input) {{ __typename {selection} \
         ... on Refused {{ refusals {{ __typename code message help }} }} }} }}"
    )
}

/// The code and the problems of the one error of a response.
pub fn error_of(response: &Response) -> (String, Value) {
    let [error] = response.errors.as_slice() else { panic!("not one error: {:?}", response.errors) };
    let extensions =
        serde_json::to_value(error.extensions.as_ref().expect("an error has extensions")).unwrap();
    assert_eq!(extensions["requestId"], "request-7", "an error names the request");
    (extensions["code"].as_str().expect("an error has a code").to_owned(), extensions["problems"].clone())
}

/// Somebody who may only do these things.
pub fn somebody(capabilities: &[Capability]) -> Actor {
    Actor { name: "Jory Nance".to_owned(), capabilities: capabilities.iter().copied().collect() }
}
