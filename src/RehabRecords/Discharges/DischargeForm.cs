using Hl7.Fhir.Model;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using static RehabRecords.Discharges.FormItems;
using Canonical = RehabRecords.Terms.Canonical;
using Item = Hl7.Fhir.Model.QuestionnaireResponse.ItemComponent;

namespace RehabRecords.Discharges;

/// <summary>
/// What a clinician stated at discharge, kept as a QuestionnaireResponse: the evidence of every sentence of the summary that
/// the record alone cannot make, and what the summary is drafted from again when a late result comes in.
/// </summary>
/// <param name="Evidence">Exact version of the QuestionnaireResponse.</param>
/// <param name="AuthorWords">Name, role and registration of who filled it in.</param>
internal sealed record DischargeForm(string Evidence, DateOnly On, string AuthorWords, DischargeRequest Stated)
{
    private static readonly (string Link, string Words, Func<DischargeRequest, string?> Of)[] Texts =
    [
        ("reason", "Reason for discharge", d => d.Reason),
        ("destination", "Destination", d => d.Destination),
        ("diagnosis", "Diagnosis", d => d.Diagnosis),
        ("referrer", "Referrer", d => d.Referrer),
        ("requirements", "Individual requirements", d => d.Requirements),
        ("legal", "Capacity, consent and legal matters", d => d.Legal),
        ("social", "Home and help there", d => d.Social),
        ("wishes", "Concerns, expectations and wishes", d => d.Wishes),
        ("information", "Information and advice given", d => d.Information),
        ("contact", "Contact for problems", d => d.Contact),
    ];

    public static QuestionnaireResponse Write(DischargeRequest d, DateOnly on, string person, string number, ResourceReference author, DateTimeOffset now)
    {
        var form = new QuestionnaireResponse
        {
            Identifier = new Identifier(Canonical.Identifier("discharge-form"), number),
            Status = QuestionnaireResponse.QuestionnaireResponseStatus.Completed,
            Subject = new ResourceReference($"Patient/{person}"),
            AuthoredElement = new FhirDateTime(now),
            Author = (ResourceReference)author.DeepCopy(),
            Item =
            [
                Day("discharged-on", "Last day of care", on)!,
                .. Texts.Select(t => Text(t.Link, t.Words, t.Of(d))).OfType<Item>(),
                .. (d.Actions ?? []).Select(a => Group("action", "Requested action", Text("text", "What", a.Text), Text("owner", "Who", a.Owner), Day("due", "By", a.Due))),
                .. new[] { Day("review-date", "Review", d.ReviewDate) }.OfType<Item>(),
                .. d.Distribution!.Select(r => Group("recipient", "Who gets the summary", Text("name", "Name", r.Name), Text("role", "Role", r.Role), Text("organisation", "Organisation", r.Organisation))),
                .. (d.Equipment ?? []).Select(e => Text("equipment", "Equipment supplied", e)!),
                .. (d.CarerTraining ?? []).Select(t => Group("training", "Carer training", Text("topic", "What", t.Topic), Text("trained", "Who", t.Trained), Day("on", "On", t.On), Text("competency", "Observed afterwards", t.Competency))),
                .. (d.Overrides ?? []).Select(o => Group("override", "Left open at discharge", Text("blocker", "What", o.Blocker), Text("reason", "Why", o.Reason))),
            ],
        };
        form.Text = Readable.Of([$"Discharge form, filled in by {author.Display}.", .. form.Item.Select(Line)]);
        form.Profiled(Profiles.DischargeForm);
        return form;
    }

    public static DischargeForm Read(QuestionnaireResponse form)
    {
        var items = form.Item.ToLookup(i => i.LinkId);
        string? Said(string link) => TextOf(items[link].FirstOrDefault());
        return new DischargeForm(
            form.Evidence(), DayOf(items["discharged-on"].FirstOrDefault()) ?? throw new FormatException($"{form.Evidence()} names no day of discharge."),
            form.Author?.Display ?? "a clinician whose name is not recorded",
            new DischargeRequest
            {
                Person = form.Subject.IdOf("Patient"),
                DischargedOn = DayOf(items["discharged-on"].FirstOrDefault()),
                Reason = Said("reason"),
                Destination = Said("destination"),
                Diagnosis = Said("diagnosis"),
                Referrer = Said("referrer"),
                Requirements = Said("requirements"),
                Legal = Said("legal"),
                Social = Said("social"),
                Wishes = Said("wishes"),
                Information = Said("information"),
                Contact = Said("contact"),
                Actions = [.. items["action"].Select(i => new ActionRequest { Text = Part(i, "text"), Owner = Part(i, "owner"), Due = DayOf(Inner(i, "due")) })],
                ReviewDate = DayOf(items["review-date"].FirstOrDefault()),
                Distribution = [.. items["recipient"].Select(i => new RecipientRequest { Name = Part(i, "name"), Role = Part(i, "role"), Organisation = Part(i, "organisation") })],
                Equipment = [.. items["equipment"].Select(TextOf).OfType<string>()],
                CarerTraining = [.. items["training"].Select(i => new TrainingRequest { Topic = Part(i, "topic"), Trained = Part(i, "trained"), On = DayOf(Inner(i, "on")), Competency = Part(i, "competency") })],
                Overrides = [.. items["override"].Select(i => new OverrideRequest { Blocker = Part(i, "blocker"), Reason = Part(i, "reason") })],
            });
    }
}
