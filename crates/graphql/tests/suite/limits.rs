//! What a request may cost.

use serde_json::json;

use crate::house::House;

#[tokio::test]
async fn pages_have_one_to_a_hundred_rows() {
    let house = House::furnished().await;
    for (arguments, place) in [
        ("first: 0", "first"),
        ("first: -1", "first"),
        ("first: 101", "first"),
        ("first: 2147483647", "first"),
        ("first: -2147483648", "first"),
        ("last: 0", "last"),
        ("last: -5", "last"),
        ("first: 1, last: 1", "first"),
        (r#"first: 1, after: "nonsense""#, "after"),
        (r#"last: 1, before: "bm9uc2Vuc2U""#, "before"),
    ] {
        let query = format!("{{ materials({arguments}) {{ nodes {{ code }} }} }}");
        let (code, problems) = house.error(&query, json!({})).await;
        assert_eq!(code, "INVALID_INPUT", "{arguments}");
        assert_eq!(problems[0]["place"], place, "{arguments}");
    }
}

/// graphql-js 16 asks for nine levels of wrapped types; GraphiQL and code generators send this query.
#[tokio::test]
async fn introspection_is_answered() {
    let house = House::furnished().await;
    let mut wrapped = "kind name".to_owned();
    for _ in 0..9 {
        wrapped = format!("kind name ofType {{ {wrapped} }}");
    }
    let query = format!(
        "query IntrospectionQuery {{ __schema {{ queryType {{ name }} mutationType {{ name }} subscriptionType {{ name }}
            types {{ ...FullType }} directives {{ name description isRepeatable locations args(includeDeprecated: true) {{ ...InputValue }} }} }} }}
         fragment FullType on __Type {{ kind name description specifiedByURL
            fields(includeDeprecated: true) {{ name description args(includeDeprecated: true) {{ ...InputValue }} type {{ ...TypeRef }} isDeprecated deprecationReason }}
            inputFields(includeDeprecated: true) {{ ...InputValue }} interfaces {{ ...TypeRef }}
            enumValues(includeDeprecated: true) {{ name description isDeprecated deprecationReason }} possibleTypes {{ ...TypeRef }} }}
         fragment InputValue on __InputValue {{ name description type {{ ...TypeRef }} defaultValue isDeprecated deprecationReason }}
         fragment TypeRef on __Type {{ {wrapped} }}"
    );
    let schema = house.ask(&query).await;
    assert_eq!(schema["__schema"]["queryType"]["name"], "Query");
}

fn repeated(times: usize, text: impl FnMut(usize) -> String) -> String {
    (0..times).map(text).collect()
}

#[tokio::test]
async fn requests_for_too_much_are_refused_before_they_run() {
    let house = House::furnished().await;
    let mut deep = "code".to_owned();
    for _ in 0..12 {
        deep = format!("whereUsed {{ versions {{ lines {{ material {{ {deep} }} }} }} }}");
    }
    let wide = "materials(first: 100) { nodes { quotations(first: 100) { nodes { material { lots { movements(first: 100) { nodes { id } } } } } } } }";
    let aliases = repeated(200, |at| format!("a{at}: __typename "));
    let bomb: String = (0..40)
        .map(|at| format!("fragment f{at} on Query {{ ...f{} ...f{} }} ", at + 1, at + 1))
        .chain(["fragment f40 on Query { __typename }".to_owned()])
        .collect();
    let chain: String = (0..5000)
        .map(|at| format!("fragment f{at} on Query {{ ...f{} }} ", at + 1))
        .chain(["fragment f5000 on Query { __typename }".to_owned()])
        .collect();
    let directives = "@include(if: true) ".repeat(50);
    for (name, query) in [
        ("deep", format!("{{ material(code: \"WAT\") {{ {deep} }} }}")),
        ("wide", format!("{{ {wide} }}")),
        ("many aliases", format!("{{ {aliases} }}")),
        ("fragments within fragments", format!("{{ ...f0 }} {bomb}")),
        ("a long chain of fragments", format!("{{ ...f0 }} {chain}")),
        (
            "a fragment within itself",
            "{ ...a } fragment a on Query { ...b } fragment b on Query { ...a }".to_owned(),
        ),
        ("directives", format!("{{ __typename {directives} }}")),
        (
            "many questions",
            format!(
                "{{ {} }}",
                repeated(99, |at| format!("a{at}: outlook {{ until }} b{at}: outlook {{ until }} "))
            ),
        ),
    ] {
        let (code, _) = house.error(&query, json!({})).await;
        assert_eq!(code, "LIMIT_EXCEEDED", "{name}");
    }
}

#[tokio::test]
async fn documents_that_cannot_be_read_say_so() {
    let house = House::furnished().await;
    for query in ["", "{", "{ nothing }", "{ material { code } }", "query($x: Nope) { __typename }", "\0"] {
        let response = house.ask_with(query, json!({})).await;
        assert!(!response.errors.is_empty(), "{query}");
        for error in &response.errors {
            let code = error.extensions.as_ref().and_then(|values| values.get("code"));
            assert_eq!(code, Some(&async_graphql::Value::from("BAD_DOCUMENT")), "{query}: {}", error.message);
        }
    }
    let query = "query($on: Date) { shelf(on: $on) { on } }";
    let (code, _) = house.error(query, json!({ "on": "yesterday" })).await;
    assert_eq!(code, "INVALID_INPUT");
}
