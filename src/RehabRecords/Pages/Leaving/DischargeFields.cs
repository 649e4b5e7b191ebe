using RehabRecords.Discharges;
using RehabRecords.Pages.Desk;
using RehabRecords.Programmes;

namespace RehabRecords.Pages.Leaving;

/// <summary>The fields of a discharge form, and the request they are.</summary>
internal static class DischargeFields
{
    public static readonly (string Field, string Label)[] Further =
    [
        ("diagnosis", "Diagnosis, as you state it"), ("referrer", "Who referred the person"), ("requirements", "Communication, interpreter and other individual needs"),
        ("legal", "Capacity, consent and other legal matters"), ("social", "Home, and who helps there"), ("wishes", "Concerns, expectations and wishes of the person and the carer"),
        ("information", "Information and advice given, and in what form"), ("contact", "Whom to contact with problems, and how"),
    ];

    private static readonly (string List, string[] Members)[] Lists =
        [("distribution", RequestFields.OfRecipient), ("actions", ["text", "owner", "due"]), ("carerTraining", ["topic", "trained", "on", "competency"])];

    /// <summary>Rows a list shows at least; there is always an empty one more.</summary>
    public static int Shown(this RequestFields fields, string list) => Math.Max(2, fields.Rows(list) + 1);

    public static RequestFields Of(IFormCollection form) => RequestFields.Of(form, Lists);

    /// <summary>As it was stated before, to be stated anew.</summary>
    public static RequestFields Of(DischargeRequest stated, ClinicianFields who)
    {
        var fields = new RequestFields
        {
            ["dischargedOn"] = Day(stated.DischargedOn),
            ["reason"] = stated.Reason,
            ["destination"] = stated.Destination,
            ["diagnosis"] = stated.Diagnosis,
            ["referrer"] = stated.Referrer,
            ["requirements"] = stated.Requirements,
            ["legal"] = stated.Legal,
            ["social"] = stated.Social,
            ["wishes"] = stated.Wishes,
            ["information"] = stated.Information,
            ["contact"] = stated.Contact,
            ["reviewDate"] = Day(stated.ReviewDate),
            ["equipment"] = string.Join('\n', stated.Equipment ?? []),
            ["author.name"] = who.Name,
            ["author.role"] = who.Role,
            ["author.registration"] = who.Registration,
        };
        foreach (var recipient in stated.Distribution ?? [])
            fields.Add("distribution", ("name", recipient.Name), ("role", recipient.Role), ("organisation", recipient.Organisation));
        foreach (var action in stated.Actions ?? [])
            fields.Add("actions", ("text", action.Text), ("owner", action.Owner), ("due", Day(action.Due)));
        foreach (var training in stated.CarerTraining ?? [])
            fields.Add("carerTraining", ("topic", training.Topic), ("trained", training.Trained), ("on", Day(training.On)), ("competency", training.Competency));
        foreach (var open in stated.Overrides ?? [])
            fields.Put(RequestFields.Override + open.Blocker, open.Reason);
        return fields;
    }

    public static DischargeRequest ToRequest(RequestFields f, string person, Typed typed) => new()
    {
        Person = person,
        DischargedOn = typed.Day("dischargedOn", f["dischargedOn"]),
        Reason = f["reason"],
        Destination = f["destination"],
        Diagnosis = f["diagnosis"],
        Referrer = f["referrer"],
        Requirements = f["requirements"],
        Legal = f["legal"],
        Social = f["social"],
        Wishes = f["wishes"],
        Information = f["information"],
        Contact = f["contact"],
        Actions = f.List("actions", path => new ActionRequest { Text = f[$"{path}.text"], Owner = f[$"{path}.owner"], Due = typed.Day($"{path}.due", f[$"{path}.due"]) }),
        ReviewDate = typed.Day("reviewDate", f["reviewDate"]),
        Distribution = f.List("distribution", f.Recipient),
        Equipment = f["equipment"]?.Split('\n', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries),
        CarerTraining = f.List("carerTraining", path => new TrainingRequest
        {
            Topic = f[$"{path}.topic"],
            Trained = f[$"{path}.trained"],
            On = typed.Day($"{path}.on", f[$"{path}.on"]),
            Competency = f[$"{path}.competency"],
        }),
        Overrides = f.Overrides.Count == 0 ? null : f.Overrides,
        Author = f.Clinician("author").ToClinician(),
    };

    private static string? Day(DateOnly? day) => day is { } d ? Timings.Iso(d) : null;
}
