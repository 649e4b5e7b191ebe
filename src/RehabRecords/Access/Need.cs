namespace RehabRecords.Access;

/// <summary>What an address asks of its caller.</summary>
internal enum Asks
{
    /// <summary>Nothing: it holds nothing of anybody.</summary>
    Nothing,

    /// <summary>Somebody who is signed in, whoever it is.</summary>
    SignIn,

    /// <summary>A link for reporting from home, which is its own key.</summary>
    HomeLink,

    /// <summary>Scopes by type and interaction; the FHIR face looks at each by itself.</summary>
    Resources,

    /// <summary>The right to an act.</summary>
    Act,
}

/// <summary>
/// What every address of this service asks for, in one place. What is not listed is refused to everybody, so that a new
/// route is closed until somebody decides. The first line that fits counts.
/// </summary>
internal sealed record Need(Asks Asks, Act Act = default)
{
    /// <summary>Addresses that nobody has to sign in for.</summary>
    public static readonly IReadOnlyList<string> Open =
    [
        "/health/", "/assets/", "/home-worker.js", "/help", "/openapi/", "/fhir/metadata", "/fhir/.well-known/", "/.well-known/", "/api/signing-keys", "/development-issuer/",
    ];

    private static readonly (string Method, string Pattern, Need Need)[] Lines =
    [
        .. Open.Select(place => ("*", place, new Need(Asks.Nothing))),
        ("*", "/home/", new(Asks.HomeLink)),

        ("*", "/fhir/bulk/", Of(Act.ExportRecord)),
        ("*", "/fhir", new(Asks.Resources)),

        ("*", "/api/retention", Of(Act.KeepRecords)),
        ("GET", "/api/people/{id}/accesses", Of(Act.ReadAudit)),
        ("POST", "/api/people/{id}/merges", Of(Act.MergeRecords)),
        ("*", "/api/erasures", Of(Act.KeepRecords)),
        ("*", "/api/people/{id}/erasure", Of(Act.KeepRecords)),
        ("*", "/api/people/{id}/legal-holds", Of(Act.KeepRecords)),
        ("GET", "/api/people/{id}/record", Of(Act.ExportRecord)),
        ("GET", "/api/programmes/{id}/exchange", Of(Act.HandOver)),
        ("POST", "/api/notes/{id}/signature/verification", Of(Act.ReadRecord)),
        ("GET", "/api/", Of(Act.ReadRecord)),
        ("POST", "/api/people", Of(Act.RegisterPerson)),
        ("POST", "/api/sessions", Of(Act.RecordSession)),
        ("POST", "/api/measures", Of(Act.RecordSession)),
        ("POST", "/api/flags/", Of(Act.ChangeProgramme)),
        ("POST", "/api/exercises", Of(Act.Library)),
        ("POST", "/api/templates", Of(Act.Library)),
        ("POST", "/api/programmes", Of(Act.ChangeProgramme)),
        ("PUT", "/api/programmes/", Of(Act.ChangeProgramme)),
        ("POST", "/api/home-links/", Of(Act.ChangeProgramme)),
        ("POST", "/api/notes/{id}/signature", Of(Act.Sign)),
        ("POST", "/api/notes/{id}/countersignature", Of(Act.Countersign)),
        ("POST", "/api/notes/{id}/amendments", Of(Act.Sign)),
        ("POST", "/api/notes/{id}/entered-in-error", Of(Act.Sign)),
        ("POST", "/api/notes", Of(Act.EditNote)),
        ("POST", "/api/discharges", Of(Act.Discharge)),
        ("POST", "/api/exchange", Of(Act.TakeIn)),
        ("POST", "/api/letters", Of(Act.EditNote)),
        ("POST", "/api/tasks/", Of(Act.ChangeProgramme)),

        ("*", "/you", new(Asks.SignIn)),
        ("GET", "/", Of(Act.ReadRecord)),
        ("GET", "/caseload", Of(Act.ReadRecord)),
        ("GET", "/people/", Of(Act.ReadRecord)),
        ("GET", "/programmes/", Of(Act.ReadRecord)),
        ("GET", "/notes/", Of(Act.ReadRecord)),
        ("GET", "/flags/", Of(Act.ReadRecord)),
        ("GET", "/library", Of(Act.ReadRecord)),
        ("GET", "/discharges/", Of(Act.ReadRecord)),
        ("GET", "/received/", Of(Act.ReadRecord)),
        ("GET", "/conflicts/", Of(Act.ReadRecord)),
        ("GET", "/tasks/", Of(Act.ReadRecord)),
        ("POST", "/tasks/", Of(Act.ChangeProgramme)),
        ("POST", "/conflicts/", Of(Act.TakeIn)),
        ("POST", "/people/{id}/discharge", Of(Act.Discharge)),
        ("POST", "/discharges/", Of(Act.Discharge)),
        ("POST", "/people/{id}/letters/new", Of(Act.EditNote)),
        ("POST", "/people/{id}/programmes/new", Of(Act.ChangeProgramme)),
        ("POST", "/programmes/", Of(Act.ChangeProgramme)),
        ("POST", "/flags/", Of(Act.ChangeProgramme)),
        ("POST", "/notes/{id}/sign", Of(Act.Sign)),
        ("POST", "/notes/{id}/countersign", Of(Act.Countersign)),
        ("POST", "/notes/{id}/amend", Of(Act.Sign)),
        ("POST", "/notes/{id}/withdraw", Of(Act.Sign)),
        ("POST", "/notes/", Of(Act.EditNote)),
    ];

    /// <summary>Null for what is not listed.</summary>
    public static Need? At(string method, string pattern)
    {
        var asked = HttpMethods.IsHead(method) ? HttpMethods.Get : method;
        var place = "/" + pattern.Trim('/');
        return Lines.FirstOrDefault(l => (l.Method == "*" || l.Method == asked) && Fits(place, l.Pattern)).Need;
    }

    // A pattern fits the address itself and all below it; "/" is the front page alone.
    private static bool Fits(string place, string pattern)
    {
        if (pattern == "/")
            return place == "/";
        var start = pattern.TrimEnd('/');
        return place.StartsWith(start, StringComparison.Ordinal) && (place.Length == start.Length || place[start.Length] == '/');
    }

    private static Need Of(Act act) => new(Asks.Act, act);
}
