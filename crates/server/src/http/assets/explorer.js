// Sends what is written on the page to /graphql and shows the answer. Nothing is stored.
"use strict";

const at = (id) => document.getElementById(id);

at("query").value = `# What each pack costs, and what is missing to say so. More to ask is in the schema.
{
  packs(first: 10) {
    nodes {
      code
      name
      costSheet {
        complete
        totals { perUnit { amount currency } perLitre { amount currency } }
        gaps { text }
      }
    }
  }
}
`;

async function run() {
  const status = at("status");
  const answer = at("answer");
  let variables;
  try {
    variables = JSON.parse(at("variables").value.trim() || "{}");
  } catch (error) {
    status.textContent = `The variables are not JSON: ${error.message}`;
    return;
  }
  const headers = {
    "content-type": "application/json",
    accept: "application/graphql-response+json, application/json;q=0.9",
  };
  const token = at("token").value.trim();
  if (token !== "") {
    headers.authorization = `Bearer ${token}`;
  }
  status.textContent = "asking …";
  at("run").disabled = true;
  const begun = performance.now();
  try {
    const response = await fetch("/graphql", {
      method: "POST",
      headers,
      credentials: "omit",
      body: JSON.stringify({ query: at("query").value, variables }),
    });
    const text = await response.text();
    status.textContent = `${response.status} ${response.statusText}, ${Math.round(performance.now() - begun)} ms`;
    try {
      answer.textContent = JSON.stringify(JSON.parse(text), null, 2);
    } catch {
      answer.textContent = text;
    }
  } catch (error) {
    status.textContent = `No answer: ${error.message}`;
  } finally {
    at("run").disabled = false;
  }
}

at("run").addEventListener("click", run);
document.addEventListener("keydown", (event) => {
  if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) {
    event.preventDefault();
    run();
  }
});
