//! `stillroom ledger`: the proof that balances and ledger agree.

use app::lists::{Balance, Discrepancy};
use serde::Serialize;

use crate::{
    cli::LedgerCommand,
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

#[derive(Serialize)]
struct Answer {
    agrees: bool,
    discrepancies: Vec<Row>,
}

#[derive(Serialize)]
struct Row {
    lot: String,
    balance: &'static str,
    kept: String,
    proven: String,
}

/// Verifies the ledger.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, command: &LedgerCommand) -> Result<Outcome, Failure> {
    let LedgerCommand::Verify = command;
    let house = house::open(settings, Layout::MustBeThere).await?;
    let found = house.app.ledger_verify(&house::actor()).await?;
    let answer = Answer { agrees: found.is_empty(), discrepancies: found.iter().map(row).collect() };
    output::answer(settings.json, &answer, text)?;
    Ok(if answer.agrees { Outcome::Done } else { Outcome::No })
}

fn row(found: &Discrepancy) -> Row {
    let balance = match found.balance {
        Balance::OnHand => "on hand",
        Balance::Value => "value",
        Balance::Reserved => "promised",
    };
    Row { lot: found.number.clone(), balance, kept: found.kept.to_string(), proven: found.proven.to_string() }
}

fn text(answer: &Answer) -> String {
    if answer.agrees {
        return "The balances of all lots agree with the ledger.".to_owned();
    }
    let mut table = Table::new([
        ("lot", Side::Left),
        ("balance", Side::Left),
        ("kept", Side::Right),
        ("the ledger adds up to", Side::Right),
    ]);
    for row in &answer.discrepancies {
        table.row([row.lot.as_str(), row.balance, &row.kept, &row.proven]);
    }
    format!(
        "{}:\n{table}",
        output::counted(answer.discrepancies.len(), "balance disagrees", "balances disagree")
    )
}
