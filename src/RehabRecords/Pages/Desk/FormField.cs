using Microsoft.AspNetCore.Components;

namespace RehabRecords.Pages.Desk;

/// <summary>What every field of a form has: a label, what is expected, and what was wrong with it.</summary>
public abstract class FormField : ComponentBase
{
    [Parameter, EditorRequired] public string Name { get; set; } = "";

    [Parameter, EditorRequired] public string Label { get; set; } = "";

    [Parameter] public string? Value { get; set; }

    [Parameter] public string? Hint { get; set; }

    [CascadingParameter] public Faults Faults { get; set; } = Faults.None;

    /// <summary>Name of the form on a page that has several; empty for the main one.</summary>
    [CascadingParameter(Name = "Form")] public string Form { get; set; } = "";

    protected string Id => FieldId.Of(Form, Name);

    protected bool IsWrong => Faults.Of(Name, Form).Count > 0;

    protected string? Described => (Hint is not null, IsWrong) switch
    {
        (true, true) => $"{Id}-hint {Id}-wrong",
        (true, false) => $"{Id}-hint",
        (false, true) => $"{Id}-wrong",
        _ => null,
    };
}
