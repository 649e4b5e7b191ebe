using Hl7.Fhir.Model;
using RehabRecords.Discharges;
using RehabRecords.Progress;
using RehabRecords.Trade;
using static RehabRecords.Discharges.FormItems;
using Canonical = RehabRecords.Terms.Canonical;
using Item = Hl7.Fhir.Model.QuestionnaireResponse.ItemComponent;

namespace RehabRecords.Letters;

/// <summary>
/// What a clinician stated for a letter, kept as a QuestionnaireResponse: the evidence of every sentence that the record
/// alone cannot make, and what the letter is drafted from again when a later result comes in.
/// </summary>
internal static class LetterForm
{
    /// <summary>System of the identifier of the form, and the kind of the letter's own.</summary>
    public const string Identifier = "transfer-form";

    private static readonly (string Link, string Words, Func<LetterRequest, string?> Of)[] Texts =
    [
        ("reason", "Why the care goes over", l => l.Reason),
        ("request", "What is asked", l => l.Request),
        ("diagnosis", "Diagnosis", l => l.Diagnosis),
        ("requirements", "Individual requirements", l => l.Requirements),
        ("legal", "Capacity, consent and legal matters", l => l.Legal),
        ("social", "Home and help there", l => l.Social),
        ("wishes", "Concerns, expectations and wishes", l => l.Wishes),
        ("information", "Information and advice given", l => l.Information),
        ("contact", "Whom to ask", l => l.Contact),
    ];

    public static QuestionnaireResponse Write(LetterRequest letter, DateOnly on, string person, string number, ResourceReference author, DateTimeOffset now)
    {
        var form = new QuestionnaireResponse
        {
            Identifier = new Identifier(Canonical.Identifier(Identifier), number),
            Status = QuestionnaireResponse.QuestionnaireResponseStatus.Completed,
            Subject = new ResourceReference($"Patient/{person}"),
            AuthoredElement = new FhirDateTime(now),
            Author = (ResourceReference)author.DeepCopy(),
            Item =
            [
                Day("written-on", "Written on", on)!,
                Recipient("to", "To", letter.To!),
                .. (letter.Copies ?? []).Select(c => Recipient("copy", "Copy to", c)),
                .. new[] { Day("from", "First day of the other team's care", letter.From) }.OfType<Item>(),
                .. Texts.Select(t => Text(t.Link, t.Words, t.Of(letter))).OfType<Item>(),
            ],
        };
        form.Text = Readable.Of([$"Form of a transfer letter, filled in by {author.Display}.", .. form.Item.Select(Line)]);
        return form;
    }

    /// <summary>As it was stated, and the same in the shape that the sentences shared with the discharge summary are made from.</summary>
    public static (LetterRequest Letter, DischargeForm Form) Read(QuestionnaireResponse form)
    {
        var items = form.Item.ToLookup(i => i.LinkId);
        string? Said(string link) => TextOf(items[link].FirstOrDefault());
        var letter = new LetterRequest
        {
            Person = form.Subject.IdOf("Patient"),
            To = RecipientOf(items["to"].First()),
            Copies = [.. items["copy"].Select(RecipientOf)],
            From = DayOf(items["from"].FirstOrDefault()),
            Reason = Said("reason"),
            Request = Said("request"),
            Diagnosis = Said("diagnosis"),
            Requirements = Said("requirements"),
            Legal = Said("legal"),
            Social = Said("social"),
            Wishes = Said("wishes"),
            Information = Said("information"),
            Contact = Said("contact"),
        };
        return (letter, new DischargeForm(
            form.Evidence(), DayOf(items["written-on"].FirstOrDefault()) ?? throw new FormatException($"{form.Evidence()} does not say when it was written."),
            form.Author?.Display ?? "a clinician whose name is not recorded",
            new DischargeRequest
            {
                Person = letter.Person,
                Reason = letter.Reason,
                Destination = letter.To!.Organisation ?? letter.To.Name,
                Diagnosis = letter.Diagnosis,
                Requirements = letter.Requirements,
                Legal = letter.Legal,
                Social = letter.Social,
                Wishes = letter.Wishes,
                Information = letter.Information,
                Contact = letter.Contact,
                Distribution = [letter.To],
            }));
    }

    private static Item Recipient(string link, string words, RecipientRequest who) =>
        Group(link, words, Text("name", "Name", who.Name), Text("role", "Role", who.Role), Text("organisation", "Organisation", who.Organisation));

    private static RecipientRequest RecipientOf(Item item) => new() { Name = Part(item, "name"), Role = Part(item, "role"), Organisation = Part(item, "organisation") };
}
