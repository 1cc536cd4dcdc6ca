//! Requests that were answered, the audit trail, API tokens and running numbers.

crate::migration!("m0005_trail", both: BOTH, sqlite: SQLITE, postgres: POSTGRES);

const BOTH: &str = "
CREATE TABLE requests (
    key {text} NOT NULL,
    operation {text} NOT NULL,
    input_hash {text} NOT NULL,
    answer {text} NOT NULL,
    answered_at {int} NOT NULL,
    CONSTRAINT uq_requests_key PRIMARY KEY (key)
) {strict};

CREATE INDEX ix_requests_answered ON requests (answered_at);

CREATE TABLE audit (
    seq {running number},
    id {id} NOT NULL,
    entered_at {int} NOT NULL,
    actor {text} NOT NULL,
    operation {text} NOT NULL,
    subject_kind {text} NOT NULL,
    subject {text} NOT NULL,
    was {text},
    became {text},
    reason {text},
    request_key {text},
    CONSTRAINT uq_audit_id UNIQUE (id)
) {strict};

CREATE INDEX ix_audit_subject ON audit (subject_kind, subject, seq);

CREATE TABLE api_tokens (
    id {id} NOT NULL,
    name {text} NOT NULL,
    hash {text} NOT NULL,
    capabilities {text} NOT NULL,
    created_by {text} NOT NULL,
    created_at {int} NOT NULL,
    expires_at {int},
    revoked_at {int},
    CONSTRAINT uq_api_tokens_id PRIMARY KEY (id),
    CONSTRAINT uq_api_tokens_hash UNIQUE (hash)
) {strict};

CREATE TABLE number_series (
    series {text} NOT NULL,
    last {int} NOT NULL,
    CONSTRAINT uq_number_series_series PRIMARY KEY (series),
    CONSTRAINT ck_number_series_last CHECK (last > 0)
) {strict};
";

const SQLITE: &str = "
CREATE TRIGGER kept_audit_update BEFORE UPDATE ON audit
BEGIN SELECT RAISE(ABORT, 'kept_audit'); END;

CREATE TRIGGER kept_audit_delete BEFORE DELETE ON audit
BEGIN SELECT RAISE(ABORT, 'kept_audit'); END;
";

const POSTGRES: &str = "
CREATE TRIGGER kept_audit BEFORE UPDATE OR DELETE ON audit
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_audit');

CREATE TRIGGER kept_audit_truncate BEFORE TRUNCATE ON audit
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('kept_audit');
";
