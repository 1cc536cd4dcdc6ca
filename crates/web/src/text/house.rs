//! Words of the frame, of forms, of signing in and of the settings.

use super::words;

words! {
    HOUSE = "Stillroom";
    SKIP = "Skip to the page";
    WAYS = "The house";
    TODAY = "Today";
    SHELF = "Shelf";
    FORMULAS = "Formulas";
    PACKS = "Packs";
    RUN_CHECK = "Run check";
    TICKETS = "Tickets";
    WHAT_IF = "What if";
    SETTINGS = "Settings";
    WHO_AND_WHEN = "Day and person";
    TODAY_IS = "Today is";
    SIGN_OUT = "Sign out";
    FIND = "Find";
    FIND_LABEL = "Find a lot, ticket, material, formula or pack";
    FIND_PLACEHOLDER = "Scan or type a code";
    FOUND_FOR = "Found for";
    FOUND_NOTHING = "Nothing has that code, number or name.";
    OFFLINE = "No connection. Nothing was sent; what you typed is still here. Send it again when the connection is back: it will be entered once.";

    WAITING = "Waiting to be sent; it is sent again by itself and entered once:";

    GAP = "not entered";
    GONE = "no longer there";
    TOO_LARGE = "too large to show";
    OPTIONAL = "(optional)";
    SHOW = "Show";
    STATE = "State";
    DAY = "Day";
    ON_DAY = "On";
    WHAT = "What";
    WHY = "Why";
    REASON = "Reason";
    REMARKS = "Remarks";
    NAME = "Name";
    TOTAL = "Total";
    CHANGE = "Change";
    SHARE = "Share";
    VALUE = "Value";
    AMOUNT = "Amount";
    TABLE_BEHIND = "The figures behind the picture";
    OVERDUE = "overdue";
    NO_DAY = "no day set";
    MORE = "Further on";

    FIELD_NEEDED = "this is needed";
    FIELD_WANTS_MASS = "this wants a weight, in kg or g";
    FIELD_WANTS_VOLUME = "this wants a volume, in L or mL";
    FIELD_WANTS_COUNT = "this wants a number of pieces";
    NOTHING_CHANGED = "Nothing was changed.";
    SENT_BEFORE = "This form was entered before, with something else in it. Look at what stands on the page now before you send it again.";

    BAD_ADDRESS = "This address cannot be read";
    BAD_ADDRESS_HELP = "Something in it is damaged. Start from the list.";
    BAD_FORM = "This form did not arrive whole";
    BAD_FORM_HELP = "Go back, load the page again and send it once more.";
    OTHER_SITE = "This form did not come from this house";
    OTHER_SITE_HELP = "Nothing was changed. Load the page again and send it from there; after signing in anew an old page no longer counts.";
    NOT_FOUND = "There is nothing here";
    FORBIDDEN = "You may not do this";
    INVALID = "Something sent is wrong";
    REFUSED = "This cannot be done as things stand";
    BUSY = "Too much going on";
    FAULT = "Something went wrong inside";
    BACK_TO_TODAY = "To the first page";

    SIGN_IN = "Sign in";
    SIGN_IN_HELP = "With the API token you were given. Whoever administers the house issues them, on this page’s Settings or with the command line.";
    API_TOKEN = "API token";
    TOKEN_UNKNOWN = "This token is not known, or works no more.";

    TOKENS = "API tokens";
    TOKENS_LEAD = "People sign in with them, and programs send them. Each carries a name for the audit trail and what it allows.";
    TOKENS_NONE = "No token has been issued.";
    TOKENS_NOT_YOURS = "Tokens are seen by those who may administer.";
    TOKEN_ONCE = "It is shown this once and kept only as a hash. Hand it over safely.";
    TOKEN_NAME_HINT = "A person’s name, or a program’s: it stands beside everything done with it.";
    NEW_TOKEN = "A new token";
    LAST_DAY_OF_TOKEN = "Last day it works";
    MAY = "May";
    ISSUED = "Issued";
    ISSUE = "Issue the token";
    REVOKE = "Revoke";
    WORKS = "works";
    ENDED = "ended";
    ABOUT = "About this house";
    VERSION = "Version";
    CURRENCY = "Currency";
    TIME_ZONE = "Time zone";
    CATALOGUE_VERSION = "Catalogue";
    YOU_MAY = "You may";
    API_EXPLORER = "Try the API";
    API_SCHEMA = "The API in writing";
}
