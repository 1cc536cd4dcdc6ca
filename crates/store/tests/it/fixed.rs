//! What the database refuses by itself, whoever asks: changes to what never changes, and figures that cannot be.

use domain::formulas::VersionStatus;
use sea_orm::ConnectionTrait;
use store::{Backend, ConstraintKind, StoreError, constraints};
use testkit::{db::TestDatabase, on_both_databases, samples};

use crate::house::{House, get, tx, written};

on_both_databases! {
    the_ledger_and_the_audit_trail_are_only_added_to,
    an_approved_version_never_changes,
    nothing_goes_below_nought,
    what_is_not_there_cannot_be_named,
    names_of_broken_rules,
}

async fn refused(database: &TestDatabase, sql: &str) -> (ConstraintKind, String) {
    match database.raw().await.execute_unprepared(sql).await.map_err(StoreError::from) {
        Err(StoreError::Constraint { kind, name }) => (kind, name),
        Ok(_) => panic!("was allowed: {sql}"),
        Err(other) => panic!("{sql}: {other:?}"),
    }
}

async fn the_ledger_and_the_audit_trail_are_only_added_to(database: &TestDatabase) {
    let house = House::build(&database.store).await;
    house.lot(&database.store, "L-1", "10 kg", Some("20")).await;
    let entry = store::audit::AuditEntry {
        id: kernel::ids::AuditId::new(),
        at: samples::instant("2026-01-05T09:30:00Z"),
        actor: "Ada Sample".to_owned(),
        operation: "lot_receive".to_owned(),
        subject_kind: "lot".to_owned(),
        subject: "L-1".to_owned(),
        before: None,
        after: None,
        reason: None,
        request_key: None,
    };
    let write = tx(&database.store).await;
    written(&write, |w| store::audit::audit_insert(w, std::slice::from_ref(&entry))).await.unwrap();
    write.commit().await.unwrap();

    for (table, rule) in [("movements", "kept_movements"), ("audit", "kept_audit")] {
        let mut attempts =
            vec![format!("UPDATE {table} SET reason = 'tampered'"), format!("DELETE FROM {table}")];
        if database.backend() == Backend::Postgres {
            attempts.push(format!("TRUNCATE {table} CASCADE"));
        }
        for attempt in attempts {
            assert_eq!(
                refused(database, &attempt).await,
                (ConstraintKind::Fixed, rule.to_owned()),
                "{attempt}"
            );
        }
    }
}

async fn an_approved_version_never_changes(database: &TestDatabase) {
    let house = House::build(&database.store).await;
    let approved = &house.formula.versions[0];
    for attempt in ["UPDATE formula_lines SET amount = 1", "DELETE FROM formula_lines"] {
        let rule = (ConstraintKind::Fixed, "fixed_formula_lines".to_owned());
        assert_eq!(refused(database, attempt).await, rule, "{attempt}");
    }
    for attempt in [
        "UPDATE formula_versions SET process_loss = 1",
        "UPDATE formula_versions SET evaporation = 1",
        "UPDATE formula_versions SET retains = 1",
        "UPDATE formula_versions SET status = 'draft'",
        "DELETE FROM formula_versions",
    ] {
        let rule = (ConstraintKind::Fixed, "fixed_formula_versions".to_owned());
        // SQLite looks at references first when rows go that others point at; either way they stay.
        let found = refused(database, attempt).await;
        assert!(found == rule || found.0 == ConstraintKind::ForeignKey, "{attempt}: {found:?}");
    }

    let cost = format!(
        "INSERT INTO making_costs (version, position, name, name_key, kind, amount_kind, amount, currency) \
         SELECT id, 1, 'mixing', 'MIXING', 'labour', 'per-batch', 1, 'GBP' FROM formula_versions WHERE number = {}",
        approved.number
    );
    let rule = (ConstraintKind::Fixed, "fixed_making_costs".to_owned());
    assert_eq!(refused(database, &cost).await, rule);

    let write = tx(&database.store).await;
    let replaced = store::formulas::version_replace(&write, approved).await;
    assert!(matches!(replaced, Err(StoreError::Changed { .. })), "{replaced:?}");
    drop(write);

    // It may still be retired, once.
    let (from, to) = (VersionStatus::Approved, VersionStatus::Retired);
    let write = tx(&database.store).await;
    store::formulas::version_status_set(&write, approved.id, from, to, None).await.unwrap();
    let again = store::formulas::version_status_set(&write, approved.id, from, to, None).await;
    assert!(matches!(again, Err(StoreError::Changed { .. })), "{again:?}");
    write.commit().await.unwrap();
}

async fn nothing_goes_below_nought(database: &TestDatabase) {
    let house = House::build(&database.store).await;
    let lot = house.lot(&database.store, "L-1", "10 kg", Some("20")).await;
    let write = tx(&database.store).await;
    let quotation = samples::quotation("Q-1", &house.supplier, &house.raw, "2.5");
    store::quotations::quotation_insert(&write, &quotation).await.unwrap();
    let draft = samples::version(house.formula.id, 2, &house.raw);
    store::formulas::version_insert(&write, &draft).await.unwrap();
    write.commit().await.unwrap();
    for (attempt, rule) in [
        ("UPDATE lots SET on_hand = -1, value = 0", constraints::LOT_ON_HAND),
        ("UPDATE lots SET reserved = -1", constraints::LOT_RESERVED),
        ("UPDATE lots SET value = -1", "ck_lots_value"),
        ("UPDATE lots SET on_hand = 0", "ck_lots_value"),
        ("UPDATE lots SET currency = NULL", "ck_lots_valued"),
        ("UPDATE lots SET value = NULL", "ck_lots_valued"),
        ("UPDATE packs SET price = 1", "ck_packs_price"),
        ("UPDATE packs SET line_labour_currency = 'GBP'", "ck_packs_line_labour"),
        ("UPDATE materials SET use_level_to = 1", "ck_materials_use_level"),
        ("UPDATE quotations SET freight_amount = 1", "ck_quotations_freight"),
        ("UPDATE quotations SET freight_amount = 1, freight_per = 'quantity'", "ck_quotations_freight"),
        ("UPDATE quotations SET minimum_order = 1", "ck_quotations_minimum_order"),
        ("UPDATE quotations SET price_basis = 'dreams'", "ck_quotations_price_basis"),
        ("UPDATE quotations SET break_counts = 'life'", "ck_quotations_break_counts"),
        ("UPDATE quotations SET discount = 100000000000", "ck_quotations_discount"),
        ("UPDATE quotations SET duty = 1", "ck_quotations_duty"),
        ("UPDATE quotations SET duty = -1, duty_on = 'price'", "ck_quotations_duty"),
        ("UPDATE quotations SET small_order_below = 1", "ck_quotations_small_order"),
        ("UPDATE quotations SET deposit = 1", "ck_quotations_deposit"),
        ("UPDATE quotations SET deposit = 1, deposit_forfeited = 100000000001", "ck_quotations_deposit"),
        (
            "INSERT INTO quotation_charges SELECT id, 1, 'lift', 1, 'order', 1, 'mass', NULL FROM quotations",
            "ck_quotation_charges_per",
        ),
        (
            "INSERT INTO quotation_charges SELECT id, 1, 'lift', 1, 'quantity', NULL, NULL, NULL FROM quotations",
            "ck_quotation_charges_per",
        ),
        (
            "INSERT INTO quotation_charges SELECT id, 1, '', 1, 'pack', NULL, NULL, NULL FROM quotations",
            "ck_quotation_charges_name",
        ),
        (
            "INSERT INTO quotation_charges SELECT id, 1, 'fuel', 1, 'freight', NULL, NULL, NULL FROM quotations",
            "ck_quotation_charges_worth",
        ),
        (
            "INSERT INTO quotation_charges SELECT id, 1, 'fuel', 1, 'goods', NULL, NULL, 0 FROM quotations",
            "ck_quotation_charges_worth",
        ),
        ("UPDATE quotation_offers SET from_dimension = 'mass'", "ck_quotation_offers_from"),
        ("UPDATE lots SET status = 'eaten'", "ck_lots_status"),
        ("UPDATE lots SET dimension = 'volume'", "ck_lots_dimension"),
        ("UPDATE packs SET overfill = -1", "ck_packs_overfill"),
        ("UPDATE packs SET filling_loss = 100000000000", "ck_packs_filling_loss"),
        ("UPDATE materials SET active_matter = 100000000001", "ck_materials_active_matter"),
        ("UPDATE materials SET density = 0", "ck_materials_density"),
        ("UPDATE materials SET kind = 'potion'", "ck_materials_kind"),
        (
            "UPDATE formula_versions SET written_as = 'grams' WHERE status = 'draft'",
            "ck_formula_versions_written",
        ),
        ("UPDATE formula_versions SET cost_per_batch = 1 WHERE status = 'draft'", "ck_formula_versions_cost"),
        (
            "UPDATE formula_versions SET evaporation = 100000000000 WHERE status = 'draft'",
            "ck_formula_versions_evaporation",
        ),
        ("UPDATE formula_versions SET samples = -1 WHERE status = 'draft'", "ck_formula_versions_samples"),
        ("UPDATE packs SET units_kept_back = -1", "ck_packs_units_kept_back"),
        ("UPDATE packs SET changeover = 1", "ck_packs_changeover_currency"),
        ("UPDATE packs SET people = 1", "ck_packs_people"),
        ("UPDATE packs SET machine_rate = 'filler'", "ck_packs_machine_rate"),
        ("UPDATE packs SET units_per_hour = 1, people = 0, labour_rate = 'bench'", "ck_packs_labour_rate"),
        (
            "UPDATE packs SET units_per_hour = 1, people = 1, line_labour = 1, line_labour_currency = 'GBP'",
            "ck_packs_units_per_hour",
        ),
        ("INSERT INTO site_state (id, catalogue_version) VALUES (2, 0)", "ck_site_state_one_row"),
    ] {
        assert_eq!(refused(database, attempt).await, (ConstraintKind::Check, rule.to_owned()), "{attempt}");
    }
    assert_eq!(get(&database.store, lot.id).await, lot);
}

async fn what_is_not_there_cannot_be_named(database: &TestDatabase) {
    let stranger = samples::material("RM-9");
    let lot = samples::lot("L-1", &stranger, "1 kg", None);
    let write = tx(&database.store).await;
    let refused = store::lots::lot_insert(&write, &lot).await;
    assert!(
        matches!(refused, Err(StoreError::Constraint { kind: ConstraintKind::ForeignKey, .. })),
        "{refused:?}"
    );
}

/// Each rule a use case can do something about is recognised by the same name on both databases.
async fn names_of_broken_rules(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    house.lot(store, "L-1", "10 kg", None).await;
    house.ticket(store, "T-1", "5 kg").await;
    let rate = domain::quotations::ExchangeRate {
        id: kernel::ids::RateId::new(),
        from: kernel::Currency::EUR,
        to: kernel::Currency::GBP,
        rate: kernel::Rate::new(samples::decimal("0.86")).unwrap(),
        date: samples::date("2026-01-05"),
        source: "a bank".to_owned(),
    };
    let quotation = samples::quotation("Q-1", &house.supplier, &house.raw, "2.5");
    let write = tx(store).await;
    store::quotations::rate_insert(&write, &rate).await.unwrap();
    store::quotations::quotation_insert(&write, &quotation).await.unwrap();
    write.commit().await.unwrap();

    macro_rules! taken {
        ($rule:expr, $insert:path, $value:expr) => {
            let write = tx(store).await;
            let refused = $insert(&write, $value).await.unwrap_err();
            drop(write);
            assert!(refused.is_taken($rule), "{refused:?} is not {}", $rule);
        };
    }
    // Letter case does not tell two codes apart.
    taken!(constraints::MATERIAL_CODE, store::materials::material_insert, &samples::material("rm-1"));
    taken!(constraints::SUPPLIER_CODE, store::suppliers::supplier_insert, &samples::supplier("s-1"));
    taken!(constraints::LOT_NUMBER, store::lots::lot_insert, &samples::lot("l-1", &house.raw, "1 kg", None));
    taken!(
        constraints::TICKET_NUMBER,
        store::tickets::ticket_insert,
        &samples::ticket("t-1", &house.formula, "1 kg")
    );
    taken!(
        constraints::PACK_CODE,
        store::packs::pack_insert,
        &samples::pack("p-1", &house.formula, &house.product, &house.bottle)
    );
    taken!(
        constraints::FORMULA_CODE,
        store::formulas::formula_insert,
        &samples::formula("f-1", &house.product, &house.raw)
    );
    taken!(
        constraints::FORMULA_MAKES,
        store::formulas::formula_insert,
        &samples::formula("F-2", &house.bulk, &house.raw)
    );
    taken!(
        constraints::VERSION_NUMBER,
        store::formulas::version_insert,
        &samples::version(house.formula.id, 1, &house.raw)
    );
    taken!(
        constraints::QUOTATION_REFERENCE,
        store::quotations::quotation_insert,
        &samples::quotation("q-1", &house.supplier, &house.raw, "9")
    );
    let bench = domain::house_rates::HouseRate {
        id: kernel::ids::HouseRateId::new(),
        name: "bench".to_owned(),
        of: domain::house_rates::HouseRateOf::LabourHour,
        amount: domain::house_rates::HouseRateAmount::Stated(kernel::UnitPrice::from_scaled(
            1,
            kernel::Currency::GBP,
        )),
        from: samples::date("2026-01-05"),
        note: None,
    };
    let write = tx(store).await;
    store::house_rates::house_rate_insert(&write, &bench).await.unwrap();
    write.commit().await.unwrap();
    let bench = domain::house_rates::HouseRate {
        id: kernel::ids::HouseRateId::new(),
        name: "Bench".to_owned(),
        ..bench
    };
    taken!(constraints::HOUSE_RATE_DAY, store::house_rates::house_rate_insert, &bench);
    // History is kept.
    for attempt in ["UPDATE house_rates SET price = 2", "DELETE FROM house_rates"] {
        let rule = (ConstraintKind::Fixed, "kept_house_rates".to_owned());
        assert_eq!(refused(database, attempt).await, rule, "{attempt}");
    }
    let again = domain::quotations::ExchangeRate { id: kernel::ids::RateId::new(), ..rate };
    taken!(constraints::RATE_DAY, store::quotations::rate_insert, &again);
}
