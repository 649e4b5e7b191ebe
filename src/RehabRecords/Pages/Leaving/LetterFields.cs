using RehabRecords.Letters;
using RehabRecords.Pages.Desk;

namespace RehabRecords.Pages.Leaving;

/// <summary>The fields of the form of a letter, and the request they are.</summary>
internal static class LetterFields
{
    public static readonly (string Field, string Label)[] Further =
    [
        ("diagnosis", "Diagnosis, as you state it"), ("requirements", "Communication, interpreter and other individual needs"),
        ("social", "Home, and who helps there"), ("wishes", "Concerns, expectations and wishes of the person and the carer"),
        ("information", "Information and advice given, and in what form"), ("legal", "Capacity, consent and other legal matters"), ("contact", "Whom to ask with questions, and how"),
    ];

    public static RequestFields Of(IFormCollection form) => RequestFields.Of(form, ("copies", RequestFields.OfRecipient));

    public static LetterRequest ToRequest(RequestFields f, string person, Typed typed) => new()
    {
        Person = person,
        To = f.Recipient("to") is var to && to == new Discharges.RecipientRequest() ? null : to,
        Copies = f.List("copies", f.Recipient),
        From = typed.Day("from", f["from"]),
        Reason = f["reason"],
        Request = f["request"],
        Diagnosis = f["diagnosis"],
        Requirements = f["requirements"],
        Legal = f["legal"],
        Social = f["social"],
        Wishes = f["wishes"],
        Information = f["information"],
        Contact = f["contact"],
        Author = f.Clinician("author").ToClinician(),
    };
}
