//! The schema's own quality, read from its text as any tool would.

use std::collections::BTreeSet;

use async_graphql::parser::{
    parse_schema,
    types::{
        BaseType, FieldDefinition, InputValueDefinition, ServiceDocument, Type, TypeDefinition, TypeKind,
        TypeSystemDefinition,
    },
};

fn document() -> ServiceDocument {
    parse_schema(graphql::sdl()).expect("the schema can be read")
}

fn types(document: &ServiceDocument) -> impl Iterator<Item = &TypeDefinition> {
    document.definitions.iter().filter_map(|definition| match definition {
        TypeSystemDefinition::Type(definition) => Some(&definition.node),
        TypeSystemDefinition::Schema(_) | TypeSystemDefinition::Directive(_) => None,
    })
}

fn fields(definition: &TypeDefinition) -> Vec<&FieldDefinition> {
    match &definition.kind {
        TypeKind::Object(object) => object.fields.iter().map(|field| &field.node).collect(),
        TypeKind::Interface(interface) => interface.fields.iter().map(|field| &field.node).collect(),
        _ => Vec::new(),
    }
}

fn inputs(definition: &TypeDefinition) -> Vec<(String, &InputValueDefinition)> {
    let own = definition.name.node.as_str();
    let mut all = Vec::new();
    if let TypeKind::InputObject(input) = &definition.kind {
        all.extend(input.fields.iter().map(|field| (format!("{own}.{}", field.node.name.node), &field.node)));
    }
    for field in fields(definition) {
        for argument in &field.arguments {
            all.push((format!("{own}.{}({})", field.name.node, argument.node.name.node), &argument.node));
        }
    }
    all
}

fn named(ty: &Type) -> &str {
    match &ty.base {
        BaseType::Named(name) => name.as_str(),
        BaseType::List(inner) => named(inner),
    }
}

#[test]
fn the_text_is_the_same_every_time() {
    assert_eq!(graphql::sdl(), graphql::sdl());
    assert!(graphql::sdl().ends_with("}\n"));
}

#[test]
fn everything_is_described() {
    let document = document();
    let mut bare = Vec::new();
    let mut check = |what: String, description: Option<&str>| {
        if description.is_none_or(|text| text.trim().is_empty()) {
            bare.push(what);
        }
    };
    for definition in types(&document) {
        let own = definition.name.node.as_str();
        check(own.to_owned(), definition.description.as_ref().map(|text| text.node.as_str()));
        for field in fields(definition) {
            let text = field.description.as_ref().map(|text| text.node.as_str());
            check(format!("{own}.{}", field.name.node), text);
        }
        for (name, input) in inputs(definition) {
            check(name, input.description.as_ref().map(|text| text.node.as_str()));
        }
        if let TypeKind::Enum(values) = &definition.kind {
            for value in &values.values {
                let text = value.node.description.as_ref().map(|text| text.node.as_str());
                check(format!("{own}.{}", value.node.value.node), text);
            }
        }
    }
    assert_eq!(bare, Vec::<String>::new(), "these have no description");
}

/// A binary fraction has no place near an amount.
#[test]
fn nothing_is_a_float() {
    let document = document();
    for definition in types(&document) {
        for field in fields(definition) {
            assert_ne!(named(&field.ty.node), "Float", "{}.{}", definition.name.node, field.name.node);
        }
        for (name, input) in inputs(definition) {
            assert_ne!(named(&input.ty.node), "Float", "{name}");
        }
    }
}

/// `Int` has 32 bits (GraphQL, October 2021, section 3.5.1): it is for positions and counts of rows, never for amounts.
#[test]
fn int_stands_only_where_it_is_large_enough() {
    let allowed: BTreeSet<&str> = BTreeSet::from([
        "against",
        "assumedByChange",
        "batches",
        "change",
        "container",
        "counted",
        "coverDays",
        "days",
        "daysAhead",
        "first",
        "from",
        "lapsesSoonDays",
        "last",
        "leadDays",
        "leadDeviationDays",
        "level",
        "levels",
        "line",
        "lines",
        "lots",
        "mixedMinutes",
        "notKnown",
        "number",
        "of",
        "ordersAYear",
        "points",
        "position",
        "rightAtFirst",
        "secondCheckLines",
        "servicePercent",
        "slowAfterDays",
        "tookMilliseconds",
        "totalCount",
        "unitsPerCase",
        "versionNumber",
        "weeks",
        "weeksBack",
    ]);
    let document = document();
    for definition in types(&document) {
        for field in fields(definition).into_iter().filter(|field| named(&field.ty.node) == "Int") {
            let name = field.name.node.as_str();
            assert!(allowed.contains(name), "{}.{name} is an Int", definition.name.node);
        }
        for (name, input) in
            inputs(definition).into_iter().filter(|(_, input)| named(&input.ty.node) == "Int")
        {
            assert!(allowed.contains(input.name.node.as_str()), "{name} is an Int");
        }
    }
}

#[test]
fn scalars_say_what_specifies_them() {
    let document = document();
    let mut found = Vec::new();
    for definition in types(&document).filter(|definition| matches!(definition.kind, TypeKind::Scalar)) {
        let url = definition.directives.iter().any(|directive| directive.node.name.node == "specifiedBy");
        assert!(url, "{} has no @specifiedBy", definition.name.node);
        found.push(definition.name.node.to_string());
    }
    found.sort();
    assert_eq!(found, ["CurrencyCode", "Date", "DateTime", "Decimal", "JSON", "Span", "Unit"]);
}

/// One input object for each change, with the key that makes it happen once, and a result that is done or refused.
#[test]
fn changes_are_all_of_one_form() {
    let document = document();
    let find = |name: &str| types(&document).find(|definition| definition.name.node == name).unwrap();
    let mutation = find("Mutation");
    let changes = fields(mutation);
    let names: Vec<&str> = changes.iter().map(|field| field.name.node.as_str()).collect();
    assert_eq!(
        names,
        [
            "alternateApprove",
            "balanceRecord",
            "batchCheckRecord",
            "checkLimitApprove",
            "containerChange",
            "containerRepack",
            "containersAdd",
            "countEnd",
            "countEnter",
            "countOpen",
            "formulaVersionApprove",
            "formulaVersionRetire",
            "formulaVersionWrite",
            "houseRateRecord",
            "locationPut",
            "lotCertificate",
            "lotCostSettle",
            "lotCount",
            "lotDocumentAdd",
            "lotOrder",
            "lotReceive",
            "lotRetest",
            "lotStatusChange",
            "lotTake",
            "lotTransfer",
            "movementReverse",
            "packFillingWrite",
            "quotationRecord",
            "scenarioKeep",
            "standardsFreeze",
            "stockRulePut",
            "ticketAllocate",
            "ticketBulk",
            "ticketCancel",
            "ticketComplete",
            "ticketDecide",
            "ticketFill",
            "ticketReconcile",
            "ticketScale",
            "ticketStep",
            "ticketVoid",
            "ticketWeigh",
            "ticketWrite",
            "weighingConfirm",
            "weighingTakeBack",
        ]
    );
    for change in changes {
        let name = change.name.node.as_str();
        let mut type_name = name.to_owned();
        type_name[..1].make_ascii_uppercase();

        let [input] = change.arguments.as_slice() else { panic!("{name} has not one argument") };
        assert_eq!(input.node.ty.node.to_string(), format!("{type_name}Input!"));
        let TypeKind::InputObject(input) = &find(&format!("{type_name}Input")).kind else { panic!("{name}") };
        let key = input.fields.iter().find(|field| field.node.name.node == "requestKey").unwrap();
        assert_eq!(key.node.ty.node.to_string(), "String!", "{name}");

        assert_eq!(change.ty.node.to_string(), format!("{type_name}Result!"));
        let TypeKind::Union(result) = &find(&format!("{type_name}Result")).kind else { panic!("{name}") };
        let members: Vec<&str> = result.members.iter().map(|member| member.node.as_str()).collect();
        assert_eq!(members, [format!("{type_name}Payload").as_str(), "Refused"], "{name}");
    }
}

/// Each refusal of the house has a type of its own with the three fields they share.
#[test]
fn refusals_have_types_of_their_own() {
    let document = document();
    let refusals = types(&document).filter(|definition| match &definition.kind {
        TypeKind::Object(object) => object.implements.iter().any(|name| name.node == "Refusal"),
        _ => false,
    });
    let mut codes: Vec<String> = refusals
        .map(|definition| {
            let names: Vec<&str> = fields(definition).iter().map(|field| field.name.node.as_str()).collect();
            for shared in ["code", "message", "help"] {
                assert!(names.contains(&shared), "{}.{shared}", definition.name.node);
            }
            screaming(definition.name.node.as_str())
        })
        .collect();
    codes.sort();
    let listed = types(&document).find(|definition| definition.name.node == "RefusalCode").unwrap();
    let TypeKind::Enum(listed) = &listed.kind else { panic!("RefusalCode is an enum") };
    let mut listed: Vec<String> =
        listed.values.iter().map(|value| value.node.value.node.to_string()).collect();
    listed.sort();
    assert_eq!(codes, listed);
}

fn screaming(name: &str) -> String {
    let mut text = String::new();
    for (at, letter) in name.chars().enumerate() {
        if at > 0 && letter.is_uppercase() {
            text.push('_');
        }
        text.extend(letter.to_uppercase());
    }
    text
}

/// Relay, Cursor Connections: edges with cursors and nodes, and page information, for every list that can grow.
#[test]
fn lists_that_can_grow_are_connections() {
    let document = document();
    let connections: BTreeSet<String> = types(&document)
        .map(|definition| definition.name.node.to_string())
        .filter(|name| name.ends_with("Connection"))
        .collect();
    let expected = [
        "AuditEntryConnection",
        "ExchangeRateConnection",
        "FormulaConnection",
        "HouseRateConnection",
        "LotConnection",
        "MaterialConnection",
        "MovementConnection",
        "PackConnection",
        "QuotationConnection",
        "StandardCostConnection",
        "SupplierConnection",
        "TicketConnection",
    ];
    assert_eq!(connections, expected.iter().map(|name| (*name).to_owned()).collect());
    for definition in types(&document) {
        for field in fields(definition).into_iter().filter(|f| named(&f.ty.node).ends_with("Connection")) {
            let arguments: Vec<&str> = field.arguments.iter().map(|a| a.node.name.node.as_str()).collect();
            for needed in ["after", "first"] {
                assert!(
                    arguments.contains(&needed),
                    "{}.{}({needed})",
                    definition.name.node,
                    field.name.node
                );
            }
        }
    }
}
