using Hl7.Fhir.Model;

namespace RehabRecords.Tests.Fhir.Search;

/// <summary>One condition as it is written in a query, and what it means.</summary>
internal sealed record Condition(string Query, Func<Resource, bool> Holds);

/// <summary>Random resources and random questions about them, from small stocks so that questions often hit.</summary>
internal sealed class RandomSearch(int seed)
{
    private const string S1 = "urn:one";
    private const string S2 = "urn:two";

    private static readonly string[] _codes = ["a", "B", "c|d", "e,f"];
    private static readonly string?[] _systems = [S1, S2, null];
    private static readonly string[] _times =
    [
        "2025", "2026", "2026-02", "2026-03", "2026-03-01", "2026-03-02", "2026-02-28", "2026-03-01T00:00:00Z", "2026-03-01T23:59:59Z",
        "2026-03-01T10:00:00Z", "2026-03-01T10:00:00+02:00", "2026-03-02T00:00:00+01:00",
    ];

    private static readonly string[] _references = ["Patient/1", "Patient/2", "Group/1", "https://else.example/fhir/Patient/1", "Patient/2/_history/3"];
    private static readonly string[] _names = ["Élodie", "elodie", "Strøm", "strom", "Nuñez Ål", "nunez", "100%", "a_b", "Å"];
    private static readonly string[] _numbers = ["5", "5.4", "5.40", "5.45", "6", "-1", "0", "100"];
    private static readonly string[] _urls = ["urn:def:1", "urn:def:2", "urn:def:1|2.0", "urn:def:1|3.0"];

    private readonly Random _random = new(seed);

    public Resource Resource() => _random.Next(3) switch
    {
        0 => Person(),
        1 => Definition(),
        _ => Result(),
    };

    public (string Type, List<Condition> Conditions) Question()
    {
        var type = Of("Patient", "ActivityDefinition", "Observation", "Observation", "Observation");
        return (type, [.. Enumerable.Range(0, _random.Next(1, 4)).Select(_ => type switch
        {
            "Patient" => AboutPerson(),
            "ActivityDefinition" => AboutDefinition(),
            _ => AboutResult(),
        })]);
    }

    public int Count() => _random.Next(1, 12);

    public string Sort(string type)
    {
        var date = type == "Patient" ? "birthdate" : "date";
        return Of("", date, "-" + date, "_lastUpdated", "-_lastUpdated", "_id", "-_id", $"-{date},_id");
    }

    public TimeSpan Step() => TimeSpan.FromSeconds(_random.Next(3));

    private Patient Person() => new()
    {
        Active = Of<bool?>(true, false, null),
        Gender = Of<AdministrativeGender?>(AdministrativeGender.Female, AdministrativeGender.Male, null),
        BirthDate = Of("1950", "1950-04", "1950-04-01", "1951-01-01", null!),
        Name = [.. Enumerable.Range(0, _random.Next(3)).Select(_ => new HumanName { Family = Of(_names), Given = [Of(_names)] })],
    };

    private ActivityDefinition Definition() => new()
    {
        Status = Of<PublicationStatus?>(PublicationStatus.Active, PublicationStatus.Draft),
        Url = Of("urn:def:1", "urn:def:2", null!),
        Version = Of("1.0", "2.0", null!),
        Title = Of([.. _names, null!]),
        Library = [.. Enumerable.Range(0, _random.Next(3)).Select(_ => Of(_urls))],
    };

    private Observation Result()
    {
        var code = new CodeableConcept();
        for (var i = _random.Next(3); i > 0; i--)
            code.Coding.Add(new Coding(Of(_systems), Of(_codes)));
        return new Observation
        {
            Status = Of<ObservationStatus?>(ObservationStatus.Final, ObservationStatus.Amended),
            Code = code.Coding.Count == 0 ? null! : code,
            Subject = Of<ResourceReference?>(
                new(Of(_references)), new(Of(_references)), new() { Identifier = new Identifier(S1, Of(_codes)) }, new() { Display = "somebody" }, null),
            BasedOn = [.. Enumerable.Range(0, _random.Next(3)).Select(n => new ResourceReference($"ServiceRequest/{_random.Next(3)}"))],
            Effective = Of<DataType?>(
                new FhirDateTime(Of(_times)),
                new FhirDateTime(Of(_times)),
                new Period { Start = "2026-02", End = Of("2026-03", "2026-03-01", null!) },
                new Period { End = "2026-03-01T10:00:00Z" },
                new Timing { Event = [Of(_times), Of(_times)] },
                null),
            Value = Of<DataType?>(
                new Quantity(Number(), "s", "http://unitsofmeasure.org"),
                new Quantity(Number(), "kg", "http://unitsofmeasure.org"),
                new Quantity { Value = Number(), Comparator = Of(Quantity.QuantityComparator.LessThan, Quantity.QuantityComparator.GreaterOrEqual) },
                new FhirString("words"),
                null),
        };
    }

    private Condition AboutResult() => _random.Next(6) switch
    {
        0 => Token("code", r => ((Observation)r).Code?.Coding.Select(c => (c.System, c.Code)) ?? []),
        1 => Reference(),
        2 => Date("date", r => ((Observation)r).Effective, _times),
        3 => Amount(),
        4 => BasedOn(),
        _ => Status(),
    };

    private Condition AboutPerson() => _random.Next(5) switch
    {
        0 => Text("family", r => ((Patient)r).Name.Select(n => n.Family!)),
        1 => Text("name", r => ((Patient)r).Name.SelectMany(n => n.Given.Append(n.Family).Select(t => t!))),
        2 => Date("birthdate", r => ((Patient)r).BirthDateElement, ["1950", "1950-04", "1950-04-01", "1951"]),
        3 => Token("gender", r => ((Patient)r).Gender is { } g ? [("http://hl7.org/fhir/administrative-gender", g.ToString())] : [], "female", "http://hl7.org/fhir/administrative-gender|male", "FEMALE"),
        _ => Token("active", r => ((Patient)r).Active is { } a ? [(null, a.ToString())] : [], "true", "false"),
    };

    private Condition AboutDefinition() => _random.Next(5) switch
    {
        0 => Uri(),
        1 => Token("version", r => ((ActivityDefinition)r).Version is { } v ? [(null, v)] : [], "1.0", "2.0"),
        2 => Text("title", r => ((ActivityDefinition)r).Title is { } t ? [t] : []),
        3 => Canonical(),
        _ => Token("status", r => [("http://hl7.org/fhir/publication-status", ((ActivityDefinition)r).Status.ToString())], "active", "draft"),
    };

    private Condition Token(string name, Func<Resource, IEnumerable<(string? System, string? Code)>> tokens, params string[] asked)
    {
        if (Missing(name, r => !tokens(r).Any()) is { } missing)
            return missing;
        var choices = Some(asked.Length > 0 ? asked : [.. _codes.Select(c => c), S1 + "|a", S2 + "|b", "|a", S1 + "|", "nothing", S1 + "|c|d"]);
        var not = Of("", "", ":not");
        bool Any(Resource r) => choices.Any(c => tokens(r).Any(t => Matches(t, c)));
        return new Condition($"{name}{not}={string.Join(',', choices.Select(EscapeToken))}", r => Any(r) == (not.Length == 0));
    }

    // A bar in a stock code belongs to the code; only the first bar after a stock system parts the two.
    private static bool Matches((string? System, string? Code) token, string asked)
    {
        if (asked is "c|d")
            return string.Equals(token.Code, asked, StringComparison.OrdinalIgnoreCase);
        return SlowSearch.TokenMatches(token.System, token.Code, asked);
    }

    private static string EscapeToken(string asked)
    {
        var bar = asked is "c|d" ? -1 : asked.IndexOf('|', StringComparison.Ordinal);
        return bar < 0 ? Escape(asked) : Escape(asked[..bar]) + "|" + Escape(asked[(bar + 1)..]);
    }

    private static string Escape(string text) => System.Uri.EscapeDataString(text.Replace(@"\", @"\\", StringComparison.Ordinal)
        .Replace(",", @"\,", StringComparison.Ordinal).Replace("|", @"\|", StringComparison.Ordinal));

    private Condition Reference()
    {
        if (Missing("subject", r => ((Observation)r).Subject is null) is { } missing)
            return missing;
        if (_random.Next(5) == 0)
        {
            var identifier = Of(_codes);
            return new Condition($"subject:identifier={S1}|{Escape(identifier)}", r => ((Observation)r).Subject?.Identifier?.Value == identifier);
        }

        if (_random.Next(3) == 0)
        {
            var who = Of("1", "2", "Patient/1", "Patient/2", "https://else.example/fhir/Patient/1");
            return new Condition($"patient={who}", r => ((Observation)r).Subject?.Reference is { } target
                && (who[0] == 'h' ? target == who : target.Split("/_history")[0] == (who.Contains('/', StringComparison.Ordinal) ? who : $"Patient/{who}")));
        }

        var form = Of("1", "2", "Patient/1", "Patient/2", "Group/1", "https://else.example/fhir/Patient/1", "Patient/9", "Patient/2/_history/3", ":Patient=1", ":Group=1");
        bool Holds(Resource r) => ((Observation)r).Subject?.Reference is { } target && form switch
        {
            "1" or "2" => target == $"Patient/{form}" || target == $"Group/{form}" || target == $"Patient/{form}/_history/3",
            ":Patient=1" => target == "Patient/1",
            ":Group=1" => target == "Group/1",
            "Patient/2" => target is "Patient/2" or "Patient/2/_history/3",
            _ => target == form,
        };
        return new Condition(form[0] == ':' ? "subject" + form : $"subject={form}", Holds);
    }

    private Condition BasedOn()
    {
        var wanted = Some("0", "1", "7").Select(n => $"ServiceRequest/{n}").ToList();
        return new Condition("based-on=" + string.Join(',', wanted), r => ((Observation)r).BasedOn.Any(b => wanted.Contains(b.Reference!)));
    }

    private Condition Status()
    {
        var wanted = Of("final", "amended");
        return new Condition($"status=http://hl7.org/fhir/observation-status|{wanted}", r => string.Equals(((Observation)r).Status.ToString(), wanted, StringComparison.OrdinalIgnoreCase));
    }

    private Condition Uri()
    {
        var wanted = Some("urn:def:1", "urn:def:2", "urn:def");
        return new Condition("url=" + string.Join(',', wanted), r => wanted.Contains(((ActivityDefinition)r).Url ?? "-"));
    }

    private Condition Canonical()
    {
        var wanted = Of([.. _urls, "urn:def:9"]);
        return new Condition($"depends-on={wanted}", r => ((ActivityDefinition)r).Library.Any(l => l == wanted || l!.Split('|')[0] == wanted));
    }

    private Condition Date(string name, Func<Resource, DataType?> element, string[] times)
    {
        if (Missing(name, r => element(r) is null) is { } missing)
            return missing;
        var wanted = Some(times).Select(t => (Prefix: Of("", "eq", "ne", "gt", "lt", "ge", "le", "sa", "eb"), Time: t)).ToList();
        return new Condition(
            $"{name}={System.Uri.EscapeDataString(string.Join(',', wanted.Select(w => w.Prefix + w.Time)))}",
            r => wanted.Any(w => SlowSearch.Spans(element(r)).Any(s => SlowSearch.DateMatches(w.Prefix, s, SlowSearch.Span(w.Time)))));
    }

    private Condition Amount()
    {
        var (prefix, number, unit) = (Of("", "eq", "ne", "gt", "lt", "ge", "le"), Of(_numbers), Of("", "|http://unitsofmeasure.org|s", "||kg"));
        return new Condition($"value-quantity={prefix}{number}{unit}", r =>
            ((Observation)r).Value is Quantity value
            && (unit.Length == 0 || value.Code == unit[(unit.LastIndexOf('|') + 1)..])
            && SlowSearch.NumberMatches(prefix, value, number));
    }

    private Condition Text(string name, Func<Resource, IEnumerable<string>> texts)
    {
        if (Missing(name, r => !texts(r).Any()) is { } missing)
            return missing;
        var (modifier, wanted) = (Of("", ":contains", ":exact"), Some("el", "ELODIE", "Élodie", "str", "ø", "%", "_", "nuñez", "100%", "l"));
        return new Condition(
            $"{name}{modifier}={string.Join(',', wanted.Select(Escape))}", r => wanted.Any(w => texts(r).Any(t => SlowSearch.TextMatches(modifier, t, w))));
    }

    private Condition? Missing(string name, Func<Resource, bool> missing)
    {
        if (_random.Next(6) > 0)
            return null;
        var asked = _random.Next(2) == 0;
        return new Condition($"{name}:missing={(asked ? "true" : "false")}", r => missing(r) == asked);
    }

    private decimal Number() => decimal.Parse(Of("5", "5.4", "5.39", "5.45", "5.35", "5.449", "6", "-1", "0", "99.9"), System.Globalization.CultureInfo.InvariantCulture);

    private List<string> Some(params string[] from) => [.. Enumerable.Range(0, _random.Next(1, 3)).Select(_ => Of(from)).Distinct()];

    private T Of<T>(params T[] from) => from[_random.Next(from.Length)];
}
